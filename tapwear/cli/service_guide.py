"""The questions of a guided service in their order: day, right unit, work, counter, people, contacts, intervals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from tapwear.cli.context import today
from tapwear.cli.counter_check import introduce
from tapwear.cli.entering import past_day, tell
from tapwear.cli.guiding import LeaveIt, Step
from tapwear.cli.overdue import cleared_overdue, missing_proof, refuse_without_proof
from tapwear.cli.visit_asking import Asking
from tapwear.cli.visit_draft import ServiceDraft
from tapwear.cli.visit_steps import counter_doubt, mismatch
from tapwear.errors import UsageError
from tapwear.measures import TESTING_OPERATIONS
from tapwear.visits.fields import READINGS, SERVICES, TASKS
from tapwear.visits.resets import NO_RESETS, resets_of
from tapwear.visits.specs import FieldSpec
from tapwear.words import as_typed, limits_words

if TYPE_CHECKING:
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey
    from tapwear.store.history import CounterPast

DRIVE, BY_HAND, SAME = "drive", "by hand", "same work"  # keys of questions that are no field of a service
AT_THE_CONTACTS = ("overhaul", "contact replacement", "repair", "other")  # work that may measure contacts
_BY_HAND = FieldSpec("by_hand", "count", "operations by hand crank between as found and as left", high=100_000)
_RESETS = f"tasks whose interval restarts ({', '.join(TASKS)}), with semicolons between them; none: no interval"


@dataclass
class ServiceGuide:
    """The guided service: which questions there are, in the state in which the draft is.

    drives : of the unit on the day of the work; rules : its intervals by task
    """

    store: Store
    unit: UnitKey
    where: str
    serial: str
    drives: tuple[str, ...]
    rules: Mapping[str, Mapping[str, Any]]
    draft: ServiceDraft
    asking: Asking
    held: dict[str, Any] = field(default_factory=dict)  # what was looked up

    def steps(self) -> list[Step]:
        """The questions for this work. The counter of one of several drives is asked only where a drive was named."""
        values, contacts = self.draft.values, self.draft.values.get("work") in AT_THE_CONTACTS
        steps = [Step("done_on", self._day), Step("serial_seen", self._serial), Step("work", self._work)]
        if self.asking.asks and values.get("work") and self._near():
            steps.append(Step(SAME, self._same))
        if len(self.drives) > 1:
            steps.append(Step(DRIVE, self._drive))
        if self._counted():
            steps += [Step("as_found_counter", self._as_found), Step("as_left_counter", self._as_left)]
            if "as_found_counter" in values:
                steps.insert(-1, Step(BY_HAND, self._by_hand))
        steps += [Step("done_by", self._done_by), Step("witness", self._witness)]
        for name, question in (
            ("contact_left_mm", "Contact material left, thinnest contact, mm"),
            ("condemning_limit_mm", "Condemning limit, mm"),
            ("remark", "Findings"),
        ):
            if contacts or name == "remark" or name in self.asking.given:
                steps.append(Step(name, partial(self._field, name, question)))
        return [*steps, Step("resets", self._resets)]

    def all_right(self) -> bool:
        """Shows the work as it would be stored, and asks; what ends an overdue task is held to its proof before."""
        given = {**self.draft.service(), "done_by": self.draft.values.get("done_by") or self.draft.by}
        cleared = cleared_overdue(self.store, self.unit, given)
        missing = missing_proof(given) if cleared else []
        if missing and not self.held.get("proof asked"):
            self.held["proof asked"] = True
            tell(f"Overdue until now: {' and '.join(cleared)}. Work that ends that is recorded only with proof.")
            self.asking.given = {name: text for name, text in self.asking.given.items() if name not in missing}
            after = (BY_HAND, "as_left_counter") if "as_found_counter" in missing else ()
            self.draft.answered[:] = [key for key in self.draft.answered if key not in (*missing, *after)]
            return False
        refuse_without_proof(self.unit, given, cleared)
        tell(*self.summary())
        return self.asking.confirm("Record this work", otherwise=True)

    def summary(self) -> list[str]:
        """What would be stored, line by line."""
        draft, values = self.draft, self.draft.service()
        seen = {name: str(values[name]) for name in ("as_found_counter", "as_left_counter") if name in values}
        by_hand = f", {draft.by_hand} operations by hand" if draft.by_hand is not None else ""
        lines = [
            f"Work on {draft.unit}, {self.where}: {values['work']} on {draft.done_on}",
            f"  serial number {values.get('serial_seen') or 'not confirmed'}",
            f"  done by {values.get('done_by') or draft.by}, witnessed by {values.get('witness') or 'nobody'}",
        ]
        if seen:
            whose = f" of drive {draft.drive}" if len(self.drives) > 1 else ""
            found, left = (seen.get(name, "not read") for name in ("as_found_counter", "as_left_counter"))
            lines.append(f"  counter{whose} as found {found}{by_hand}, as left {left}")
            lines += [f"  doubtful: {draft.doubt}"] if draft.doubt else []
            lines += ["  the counter was set back or replaced"] if draft.was_reset else []
        if "contact_left_mm" in values:
            limit = values.get("condemning_limit_mm")
            lines.append(
                f"  contacts: {values['contact_left_mm']:g} mm left"
                + (f", condemning limit {limit:g} mm" if limit is not None else "")
            )
        lines += [f"  findings: {values['remark']}"] if values.get("remark") else []
        return [*lines, *(f"  {line}" for line in self.interval_lines())]

    def interval_lines(self) -> list[str]:
        """Each interval that restarts with this work, and each that does not."""
        again = resets_of(self.draft.values["work"], self.draft.service().get("resets"))
        every = {
            task: f"every {limits_words(rule['interval_operations'], rule['interval_years'])}"
            for task, rule in self.rules.items()
        }
        lines = [f"Interval restarts: {task} ({every.get(task, 'no interval is known for it')})" for task in again]
        lines += [f"Not reset: {task} ({words})" for task, words in every.items() if task not in again]
        return lines or ["No interval restarts."]

    def past(self) -> CounterPast | None:
        """The past of the counter that is read on the day of the work; None where no counter is."""
        from tapwear.store.history import counter_past

        if not self._counted():
            return None
        drive = self.draft.drive or self.asking.given.get(DRIVE, "")
        key = f"past {self.draft.done_on} {drive}"
        if key not in self.held:
            with self.store.rows() as connection:
                self.held[key] = counter_past(connection, self.unit, drive, "mechanical", self.draft.done_on)
        past: CounterPast = self.held[key]
        return past

    def _counted(self) -> bool:
        given = any(name in self.asking.given for name in (DRIVE, "as_found_counter", "as_left_counter"))
        return len(self.drives) == 1 or bool(self.draft.drive) or given

    # --- the day and the right unit ---------------------------------------------------------------------------

    def _day(self) -> None:
        spec = SERVICES.field("done_on")
        while self.asking.asks and "done_on" not in self.asking.given:
            text = self.asking.typed("Day on which the work was finished", f"empty: today, {today()}")
            try:
                self.draft.done_on = past_day(spec, text or None, "Day")
            except UsageError as error:
                tell(str(error))
                continue
            break
        past = self.past()
        if past is None:
            tell(f"{self.unit.tag}: {self.where}")
        else:
            introduce(past, self.draft.done_on)

    def _serial(self) -> None:
        """The nameplate's serial number; another one is told at once and read again, and nothing is lost."""
        from tapwear.store.entries import check_serial

        self.draft.values.pop("serial_seen", None)
        spec = SERVICES.field("serial_seen")
        while True:
            seen, _ = self.asking.value("serial_seen", spec, "Serial number on the nameplate", hint="empty: not read")
            if not seen:
                tell("The serial number was not confirmed.") if self.serial else None
                return
            if not self.serial:
                change = f"tapwear unit change {as_typed(self.unit.tag)} --serial {as_typed(seen)}"
                tell(f"The register has no serial number yet: {change}")
                break
            if not self.asking.asks:
                with self.store.rows() as connection:
                    check_serial(connection, self.unit, seen)
                break
            words = mismatch(self.store, self.unit.tag, self.serial, seen, "service")
            if not words:
                break
            tell(words)
            if not self.asking.confirm("Read it again", otherwise=True):
                raise LeaveIt("Nothing was recorded: it is another unit.")
            self.asking.given = {name: text for name, text in self.asking.given.items() if name != "serial_seen"}
        self.draft.values["serial_seen"] = seen

    # --- the work ---------------------------------------------------------------------------------------------

    def _work(self) -> None:
        spec = SERVICES.field("work")
        while True:
            work, _ = self.asking.value("work", spec, "What was done", hint=", ".join(spec.choices))
            if work:
                break
            if not self.asking.asks:
                raise UsageError("Say what was done with --work, e.g. --work overhaul.")
            tell("Say what was done; it is needed.")
        self.draft.values["work"] = work

    def _near(self) -> list[tuple[date, str]]:
        from tapwear.store.entries import services_near

        work = str(self.draft.values["work"])
        key = f"near {work} {self.draft.done_on}"
        if key not in self.held:
            with self.store.rows() as connection:
                self.held[key] = services_near(connection, self.unit, work, self.draft.done_on)
        near: list[tuple[date, str]] = self.held[key]
        return near

    def _same(self) -> None:
        """Whether this is the work that the book has on a day nearby: then nothing is added."""
        work = str(self.draft.values["work"])
        for day, by in self._near():
            recorded = f"{work} of {day}" + (f" by {by}" if by else "")
            if self.asking.confirm(f"Is it the same work as the {recorded}"):
                command = f"tapwear service {as_typed(self.unit.tag)} --work {as_typed(work)} --on {day}"
                raise LeaveIt(
                    "It is recorded already, so nothing was added. To add to it or correct it: "
                    f"{command} --replace --because REASON"
                )

    def _drive(self) -> None:
        names = ", ".join(self.drives)

        def valid(name: str) -> None:
            if name.casefold() not in map(str.casefold, self.drives):
                raise UsageError(f"{self.unit.tag} has drives {names}.")

        given = self.asking.given.get(DRIVE)  # one that is wrong is refused where its counter is looked up
        if given is not None:
            self.draft.drive = given
            return
        name, _ = self.asking.value(
            DRIVE, READINGS.field("drive"), f"Drive whose counter was read: {names}", hint="empty: none", valid=valid
        )
        self.draft.drive = next((one for one in self.drives if one.casefold() == (name or "").casefold()), "")

    # --- the counter ------------------------------------------------------------------------------------------

    def _as_found(self) -> None:
        past = self.past()
        assert past is not None  # noqa: S101 - asked only where there is one
        day = self.draft.done_on
        last = past.last_before(day)
        hint = f"last {str(last.value).zfill(past.digits)} on {last.on}" if last else "no reading yet"
        value, self.draft.doubt = self.asking.value(
            "as_found_counter", SERVICES.field("as_found_counter"), "Counter as found", hint=hint,
            check=lambda number: counter_doubt(past, day, number),
        )  # fmt: skip
        self._keep("as_found_counter", value)

    def _by_hand(self) -> None:
        self.draft.by_hand, _ = self.asking.value(
            BY_HAND, _BY_HAND, "Operations by hand crank between as found and as left", hint="empty: not counted"
        )

    def _as_left(self) -> None:
        found, by_hand, past = self.draft.values.get("as_found_counter"), self.draft.by_hand, self.past()
        self.draft.was_reset = False

        def check(left: int) -> str:
            if found is None or left < found or not self.asking.asks:
                return ""
            made = left - found
            if by_hand is not None and made < by_hand:
                return f"{made} operations from as found to as left, where {by_hand} were made by hand"
            if made > TESTING_OPERATIONS + (by_hand or 0):
                return f"{made} operations from as found to as left are many for one piece of work"
            return ""

        def valid(left: int) -> None:
            if past is not None and left >= 10**past.digits:
                raise UsageError(f"{left} has more digits than the counter, which has {past.digits}.")

        left, mark = self.asking.value(
            "as_left_counter", SERVICES.field("as_left_counter"), "Counter as left", check=check, valid=valid,
            hint=f"as found {found}" if found is not None else "empty: not read",
        )  # fmt: skip
        self._keep("as_left_counter", left)
        if mark:
            self.draft.doubt = "; ".join(part for part in (self.draft.doubt, mark) if part)
        reset = self.asking.given.get("counter reset") == "yes"
        if reset and (found is None or left is None):
            raise UsageError(
                "--counter-reset needs --as-found and --as-left: the old counter's last number, and the new one."
            )
        if not reset and found is not None and left is not None and left < found:
            question = f"Counter as found {found}, as left {left}. Was it set back or replaced"
            if not self.asking.asks:
                raise UsageError(
                    f"{question}? If so add --counter-reset; otherwise read it again. Nothing was recorded."
                )
            if not self.asking.confirm(question):
                self.asking.given = {key: text for key, text in self.asking.given.items() if key != "as_left_counter"}
                self._as_left()
                return
            reset = True
        self.draft.was_reset = reset

    # --- people, contacts, findings, intervals ----------------------------------------------------------------

    def _done_by(self) -> None:
        spec = SERVICES.field("done_by")
        name, _ = self.asking.value("done_by", spec, "Who did the work", hint=f"empty: {self.draft.by}")
        self._keep("done_by", name or self.draft.by)

    def _witness(self) -> None:
        def valid(name: str) -> None:
            if self.asking.asks and name.casefold() == str(self.draft.values["done_by"]).casefold():
                raise UsageError("The witness is a second person, not who did the work.")

        spec = SERVICES.field("witness")
        name, _ = self.asking.value("witness", spec, "Who witnessed it", hint="empty: nobody", valid=valid)
        self._keep("witness", name)

    def _field(self, name: str, question: str) -> None:
        value, _ = self.asking.value(name, SERVICES.field(name), question, hint="? helps")
        self._keep(name, value)

    def _resets(self) -> None:
        work = self.draft.values["work"]
        usual = "; ".join(resets_of(work, None)) or NO_RESETS
        spec = FieldSpec("resets", "list", _RESETS)

        def valid(tasks: tuple[str, ...]) -> None:
            for task in tasks:
                if task not in TASKS and tasks != (NO_RESETS,):
                    raise UsageError(f"--resets: {task!r} is no task; tasks are {', '.join(TASKS)}, or none by itself.")

        tasks, _ = self.asking.value("resets", spec, "Intervals that restart", hint=f"empty: {usual}", valid=valid)
        self._keep("resets", tasks)
        if not self.asking.asks:
            tell(*self.interval_lines())

    def _keep(self, name: str, value: Any) -> None:
        self.draft.values.pop(name, None)
        if value is not None:
            self.draft.values[name] = value
