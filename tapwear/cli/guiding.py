"""What guided entries share: a draft begun or gone on with, questions in their order, back, the look back, the stop."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, Protocol, TypeVar

import typer

from tapwear.cli.entering import tell
from tapwear.cli.visit_asking import Asking, GoBack
from tapwear.cli.visit_draft import AnyDraft, draft_path, load_draft, remove_draft, save_draft
from tapwear.errors import UsageError
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.store.engine import Store

D = TypeVar("D", bound=AnyDraft)


class LeaveIt(UsageError):
    """Nothing of this entry is to be kept: it is the wrong unit, or nobody should be there."""


@dataclass(frozen=True)
class Step:
    """One question. `run` asks it and writes the answer into the draft."""

    key: str
    run: Callable[[], None]


class Guide(Protocol):
    """The questions of one entry, in the state in which its draft is."""

    @property
    def draft(self) -> AnyDraft: ...

    @property
    def asking(self) -> Asking: ...

    def steps(self) -> list[Step]:
        """The questions, given what was answered so far."""

    def all_right(self) -> bool:
        """Shows the entry as it would be stored, and asks; False: not to be stored now."""


def path_of(store: Store, unit: str, kind: type[AnyDraft]) -> Path:
    """Where the unit's draft lies: beside the store; for a store on a server, in the user's own folder."""
    place = store.path
    if place.exists():
        return draft_path(place.parent, place.name, unit, kind)
    home = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "tapwear"
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    return draft_path(home, re.sub(r"[^A-Za-z0-9.-]+", "-", str(place)), unit, kind)


def begin(path: Path, fresh: D, *, asks: bool, resume: bool, anew: bool) -> D:
    """A new draft, or the one that was left unfinished. Raises UsageError where it is not said which."""
    if anew:
        remove_draft(path)
    left = load_draft(path, fresh.unit, type(fresh)) if asks or resume else None
    kind, command = fresh.KIND, f"tapwear {fresh.KIND} {as_typed(fresh.unit)}"
    if left is None:
        if resume:
            raise UsageError(f"There is no unfinished {kind} to {fresh.unit}. Begin one with: {command}")
        return fresh
    if not resume:
        raise UsageError(
            f"A {kind} to {fresh.unit} on {left.day} by {left.by} was left unfinished after {len(left.answered)} "
            f"answers. Go on with it: {command} --resume; or drop it and begin again: --anew"
        )
    tell(f"Going on with the {kind} of {left.day} by {left.by}: {len(left.answered)} questions are answered.")
    return left


def _stop(path: Path, draft: AnyDraft) -> NoReturn:
    """Says what is kept after Ctrl-C, and ends."""
    tell("")
    if path.exists():
        tell(
            f"Stopped; nothing is in the store yet. {len(draft.answered)} answers are kept in {path}. Go on with: "
            f"tapwear {draft.KIND} {as_typed(draft.unit)} --resume"
        )
    else:
        tell("Stopped; nothing was recorded.")
    raise typer.Exit(130)


def go_through(guide: Guide, path: Path, still_open: Sequence[str], introduce: Callable[[], None], keeps: bool) -> None:
    """The whole entry, from what is said before it to the yes at its end; Ctrl-C keeps the draft and ends.

    still_open : what is open at the unit. introduce : says the rest. keeps : the draft is kept in `path`
    Raises LeaveIt, without a draft left, where nothing is to be recorded.
    """
    try:
        if guide.asking.asks:
            introduce()
            tell(*(f"Open at {guide.draft.unit}: {words}" for words in still_open))
            tell("Empty: not read. ? explains. < goes back. Ctrl-C stops; what was answered is kept.")
        _ask_all(guide, path if keeps else None)
    except (KeyboardInterrupt, EOFError):
        _stop(path, guide.draft)
    except LeaveIt:
        if keeps:
            remove_draft(path)
        raise


def _ask_all(guide: Guide, path: Path | None) -> None:
    """Asks what is not answered yet, one by one, keeping the draft after each; then shows all and asks for the yes.

    path : where the draft is kept; None: nowhere
    """
    draft = guide.draft
    while True:
        step = next((step for step in guide.steps() if step.key not in draft.answered), None)
        try:
            if step is None:
                if not guide.asking.asks or guide.all_right():
                    return
                if all(step.key in draft.answered for step in guide.steps()):
                    raise KeyboardInterrupt
                continue  # something of it is asked again
            step.run()
        except GoBack:
            _go_back(guide)
            continue
        draft.answered.append(step.key)
        if path is not None:
            save_draft(path, draft)


def _go_back(guide: Guide) -> None:
    """Takes the last typed answer out, so that it is asked again; answers given as options stay."""
    answered = guide.draft.answered
    typed = [number for number, key in enumerate(answered) if key not in guide.asking.given]
    if typed:
        del answered[typed[-1] :]
