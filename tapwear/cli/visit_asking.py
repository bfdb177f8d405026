"""Questions of the guided visit: typed at a terminal or given as options, questioned once where they are odd."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from tapwear.cli.counter_check import kept_with
from tapwear.cli.entering import OPTIONS, tell, value_of
from tapwear.errors import DataRejected, UsageError
from tapwear.measures import unit_in
from tapwear.report.plain import plain
from tapwear.visits.specs import FieldSpec

if TYPE_CHECKING:
    from rich.console import Console

BACK, HELP = "<", "?"
_BARE_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,3}(?:[ '\u2019\u00a0\u202f][0-9]{3})+|[0-9]*)(?:[.,]?[0-9]+)?")


class GoBack(Exception):
    """The person wants the question before."""


@dataclass
class Asking:
    """How answers are had: from `given` (by key of the question; options), else typed where `asks`.

    sure : the reason with which odd values are kept without a question; system : of units, one of measures.SYSTEMS
    """

    given: Mapping[str, str]
    asks: bool
    sure: str | None
    system: str

    @cached_property
    def console(self) -> Console:
        """Standard error, so that standard output holds data only."""
        from tapwear.report.terminal import make_console

        return make_console(error=True)

    def typed(self, question: str, hint: str = "") -> str:
        """A line typed at the terminal. Raises GoBack for `<`, EOFError when the input has ended."""
        from rich.text import Text

        prompt = Text.assemble((plain(question), "bold"), (f" ({plain(hint)})" if hint else "", "dim"), ": ")
        text = self.console.input(prompt).strip()
        if text == BACK:
            raise GoBack
        return text

    def confirm(self, question: str, *, otherwise: bool = False, explain: str = "") -> bool:
        """Yes or no; an empty line means `otherwise`. `explain` : what ? says."""
        while True:
            text = self.typed(question, "Y/n" if otherwise else "y/N").casefold()
            if not text:
                return otherwise
            if text in ("y", "yes", "n", "no"):
                return text in ("y", "yes")
            tell(f"{explain} {_YES_OR_NO}".strip() if text == HELP else "Type y or n.")

    def value(
        self,
        key: str,
        spec: FieldSpec,
        question: str,
        *,
        hint: str = "",
        check: Callable[[Any], str] = lambda value: "",
        valid: Callable[[Any], None] = lambda value: None,
        needed: str = "",
        explain: str = "",
    ) -> tuple[Any, str]:
        """The value of a field and the mark with which it is kept ("" where nothing was odd); None: left open.

        explain : what ? says besides the field's own help
        check : why a value is questioned, "" for nothing. valid : raises UsageError for what cannot be
        needed : why an empty line is not enough, "" where it is; "-" leaves it open all the same
        Raises UsageError for an option that cannot be, DataRejected for an odd one that nobody stands by.
        """
        if key in self.given:
            name = key.partition("/")[0]  # counter/A
            value = self.read(spec, self.given[key], OPTIONS.get(name, f"--{name}"))
            valid(value)
            doubt = check(value)
            mark, again = self._mark(doubt, explain)
            if mark or not doubt:
                return value, mark
        else:
            again = ""
        if not self.asks:
            return None, ""
        before: Any = None
        while True:
            text = again or self.typed(question, hint)
            again = ""
            if text == "-" or not (text or needed):
                return None, ""
            if not text:
                tell(needed)
                continue
            if text == HELP:
                tell(_help(spec, explain))
                continue
            try:
                value = self.read(spec, text, question)
                valid(value)
            except UsageError as error:
                tell(str(error))
                continue
            doubt = check(value)
            twice = bool(doubt) and value == before
            mark, again = (f"{doubt}; kept: typed twice", "") if twice else self._mark(doubt, explain)
            if mark or not doubt:
                return value, mark
            before = value

    def read(self, spec: FieldSpec, text: str, name: str) -> Any:
        """The value of what was typed: in the system's units where none is said, list words also by their beginning."""
        unit = unit_in(spec.measure, self.system)[0] if spec.measure else ""
        if unit and _BARE_NUMBER.fullmatch(text):
            text += unit
        begins = [word for word in spec.choices if word.casefold().startswith(text.casefold())]
        if len(begins) > 1 and text.casefold() not in map(str.casefold, begins):
            raise UsageError(f"{name}: {text!r} begins {' and '.join(begins)}; write more of it.")
        return value_of(spec, begins[0] if len(begins) == 1 else text, name)

    def _mark(self, doubt: str, explain: str) -> tuple[str, str]:
        """The mark with which a questioned value is kept, and what was typed in its place; "" for none.

        Raises DataRejected where nobody can be asked and --sure was not given.
        """
        if not doubt:
            return "", ""
        tell(f"Check: {doubt.removesuffix('?')}{'?' if doubt.endswith('?') else '.'}")
        if self.sure is not None:
            return kept_with(doubt, self.sure), ""
        if not self.asks:
            raise DataRejected(
                "Nothing was recorded. Check again; if it is right, add --sure REASON, and it is kept with its doubt."
            )
        while True:
            text = self.typed("Read it again. Is it right", "y, n, or what it shows")
            if text.casefold() in ("", "n", "no"):
                return "", ""
            if text == HELP:
                tell(f"{explain} y keeps it with its doubt, n asks again; or type what it really shows.".strip())
            elif text.casefold() in ("y", "yes"):
                return kept_with(doubt, self._explanation()), ""
            else:
                return "", text

    def _explanation(self) -> str:
        """What the person says to an odd value; "" for nothing."""
        while (text := self.typed("What explains it", "may be left empty")) == HELP:
            tell("Anything that makes the value right although it is odd: it is stored with it.")
        return text


_YES_OR_NO = "y or n; an empty line takes the capital one. < goes back one question; Ctrl-C stops."


def _help(spec: FieldSpec, explain: str = "") -> str:
    words = explain.rstrip(".") or f"{spec.help[0].upper()}{spec.help[1:]}"
    if spec.choices:
        words += f"; one of: {', '.join(spec.choices)} (the first letters are enough)"
    return f"{words}. Empty: not read; < goes back one question; Ctrl-C stops and keeps what was answered."
