"""The questions of a guided visit in their order, and what each does with its answer."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from tapwear.cli.counter_check import ended, expected, say_range
from tapwear.cli.entering import tell
from tapwear.cli.guiding import LeaveIt, Step
from tapwear.cli.stops import tell_alarms
from tapwear.cli.visit_asking import HELP, Asking
from tapwear.cli.visit_doubts import bottle_words, doubt_of
from tapwear.errors import UsageError
from tapwear.measures import shown_in, unit_in
from tapwear.outlook.noticed import Noticed
from tapwear.outlook.signs import Alarm, seen_alarms, severe_signs
from tapwear.store.visit_ground import Ground, whose_serial
from tapwear.visits.fields import READINGS, SERVICES
from tapwear.visits.observations import BY_NAME, MORE, POSITIONS, QUANTITIES, label, noted
from tapwear.visits.specs import Unfit
from tapwear.visits.values import minute_of
from tapwear.visits.visit import only_de_energised
from tapwear.words import as_typed, observed_words, stop_notice

if TYPE_CHECKING:
    from tapwear.cli.visit_draft import Draft
    from tapwear.store.engine import Store
    from tapwear.store.history import CounterPast

SERIAL, SAMPLE, REMARK, BOTTLE = "serial", "sample", "remark", "bottle_number"
_LAST = (REMARK, BOTTLE)
_IN_GROUPS = tuple(name for group in MORE.values() for name in group)
_NEEDS_DEGREES = "a level is judged by the oil temperature at which it was read. Type - where it cannot be read."
_NO_JUDGEMENT = "it cannot be judged."
COUNTER, CONTROLLER = "counter", "controller"  # keys of the counters' questions, followed by /DRIVE
# What ? says, by question, where the field's own help does not say enough.
EXPLAINED = {
    "place": "The station and unit on the sign at the gate and on the tank; n where you stand somewhere else.",
    SERIAL: (
        "The number on the tap changer's own plate, on its head or on the drive cabinet's door; not the transformer's, "
        "which is on the tank."
    ),
    "mismatch": (
        "a asks for the serial number again. o records that another unit stands here, and nothing of this one. s stops "
        "and records nothing."
    ),
    "mechanical": (
        "The operations counter in the drive cabinet{drive}, which moves by one with each step: all {digits} digits as "
        "they stand, leading zeros too."
    ),
    "controller": "The number of operations{drive} that the voltage controller or the control system shows.",
    "dead": "Whether the unit is switched off on all sides, isolated and earthed, so that oil may be drawn.",
    "record": "y stores all of it in one piece; n stops here and keeps the answers: go on with --resume.",
    SAMPLE: "Whether a bottle or syringe of the compartment's oil was filled on this visit; its label is printed then.",
}
# Noted where the compartment breathes through one; the others where a gauge or bottle is fitted.
_BREATHING, _GAUGES = ("breather",), ("pressure_kpa", "gas_bottle_kpa")


@dataclass
class Guide:
    """The guided visit: which questions there are for this unit, in the state in which the draft is."""

    store: Store
    ground: Ground
    draft: Draft
    asking: Asking
    stopped: bool

    def steps(self) -> list[Step]:
        """The questions for this unit. A stopped unit is only asked for what was read: nothing is to be touched.

        So is one that this visit stops: no question keeps anybody there.
        """
        steps = [Step("place", self._place), Step(SERIAL, self._serial)]
        if self.draft.another_unit:
            return [*steps, Step(REMARK, partial(self._observation, REMARK))]
        for drive in self.ground.drives:
            steps.append(Step(f"{COUNTER}/{drive}", partial(self._counter, drive, "mechanical")))
            if f"{CONTROLLER}/{drive}" in self.asking.given:
                steps.append(Step(f"{CONTROLLER}/{drive}", partial(self._counter, drive, "controller")))
        asked = [spec.name for spec in QUANTITIES if spec.name in self.asking.given or self._is_asked(spec.name)]
        more = [name for name in _IN_GROUPS if name in asked]
        steps += [Step(name, partial(self._observation, name)) for name in asked if name not in (*more, *_LAST)]
        if self.asking.asks and not self._leave:
            steps.append(Step("more", self._more))
        steps += [Step(name, partial(self._observation, name)) for name in (*more, REMARK) if name in asked]
        if not self._leave or SAMPLE in self.asking.given:
            steps.append(Step(SAMPLE, self._sample))
        if BOTTLE in asked:
            steps.append(Step(BOTTLE, partial(self._observation, BOTTLE)))
        return steps

    def all_right(self) -> bool:
        """Shows the visit as it would be stored, and asks."""
        tell(*self.summary())
        return self.asking.confirm("Record this visit", otherwise=True, explain=EXPLAINED["record"])

    def summary(self) -> list[str]:
        """What the visit holds, line by line."""
        draft = self.draft
        lines = [f"Visit to {draft.unit} on {draft.visited_on} by {draft.by}:"]
        lines.append(f"  serial number {draft.serial_seen or 'not confirmed'}")
        if draft.another_unit:
            return [*lines, "  another unit stands here"]
        for key, seen in draft.counters.items():
            drive, source = key.rsplit("/", 1)
            name = "counter" if source == "mechanical" else source
            which = f" of drive {drive}" if len(self.ground.drives) > 1 else ""
            doubtful = f" (doubtful: {seen['doubt']})" if seen["doubt"] else ""
            lines.append(f"  {name}{which} {seen['value']}{doubtful}")
        for name, value in draft.observations.items():
            questioned = " (questioned)" if name in draft.questioned else ""
            lines.append(f"  {label(name)} {self._in_words(name, value)}{questioned}")
        return [*lines, "  oil sample taken"] if draft.sample_taken else lines

    def _in_words(self, name: str, value: Any) -> str:
        """A value as it is said, in the system of units that is in use."""
        if BY_NAME[name].measure and not isinstance(value, str):
            return shown_in(value, BY_NAME[name].measure, self.asking.system)
        if isinstance(value, bool | str):
            return _said(value)
        return observed_words(name, value, "")

    @property
    def _leave(self) -> bool:
        return self.stopped or bool(severe_signs(seen_on(self.draft)))

    def _is_asked(self, name: str) -> bool:
        if self._leave:
            return name == REMARK
        if name in _BREATHING:
            return self.ground.breathing != "sealed"
        if name in _GAUGES:
            return self.ground.breathing not in ("free", "desiccant") or name in self.ground.last
        if name == "drag_hands_reset":
            return any(hand in self.draft.observations for hand in POSITIONS[1:])
        if name == "counter_state":
            seen = self.draft.counters
            return any(
                f"{COUNTER}/{drive}" in self.draft.answered and f"{drive}/mechanical" not in seen
                for drive in self.ground.drives
            )
        if name == BOTTLE:
            return self.draft.sample_taken
        return name not in _IN_GROUPS or any(name in MORE[group] for group in self.draft.more)

    # --- the right unit ---------------------------------------------------------------------------------------

    def _place(self) -> None:
        """Station and bank, confirmed or held against what was given."""
        where = self.ground.where
        for key, known in (("station", where.station), ("bank", where.bank)):
            said = self.asking.given.get(key)
            if said is not None and said.strip().casefold() != known.casefold():
                raise LeaveIt(
                    f"{self.ground.unit.tag} stands at {where.where}; you entered {key} {said}. Nothing was recorded. "
                    f"If the register is wrong: tapwear unit move {as_typed(self.ground.unit.tag)}"
                )
        if not self.asking.asks or "station" in self.asking.given:
            return
        name = f" ({self.ground.station_name})" if self.ground.station_name not in ("", where.station) else ""
        right = self.asking.confirm(
            f"Are you at {where.where}{name}, unit {self.ground.unit.tag}", otherwise=True, explain=EXPLAINED["place"]
        )
        if not right:
            raise LeaveIt(
                "Nothing was recorded. The units of a station with their serial numbers: tapwear unit list --station "
                "CODE"
            )

    def _serial(self) -> None:
        """The nameplate's serial number, compared; another one stops, or is what the visit records."""
        spec = SERVICES.field("serial_seen")
        hint = "empty: it cannot be read"
        while True:
            seen, _ = self.asking.value(
                SERIAL, spec, "Serial number on the nameplate", hint=hint, explain=EXPLAINED[SERIAL]
            )
            self.draft.serial_seen, self.draft.another_unit = seen or "", False
            if not seen:
                tell("The serial number was not confirmed.")
                return
            if not self.ground.serial:
                tag = self.ground.unit.tag
                tell(f"The register has no serial number yet: tapwear unit change {as_typed(tag)} --serial {seen}")
                return
            words = mismatch(self.store, self.ground.unit.tag, self.ground.serial, seen, "visit")
            if not words:
                return
            if "another unit" in self.asking.given:
                self.draft.another_unit = True
                return
            if not self.asking.asks:
                raise LeaveIt(
                    f"{words} Nothing was recorded. If you are sure that another unit stands there: --another-unit"
                )
            tell(words)
            if self._after_mismatch(seen):
                return

    def _after_mismatch(self, seen: str) -> bool:
        """Asks what to do; True when another unit stands here and that is recorded, False to read again."""
        hint = "a: read it again; o: another unit stands here, record that; s: stop"
        while True:
            choice = self.asking.typed("What now", hint).casefold()
            if choice in ("", "a", "again"):
                self.asking.given = {k: v for k, v in self.asking.given.items() if k != SERIAL}
                return False
            if choice in ("s", "stop"):
                raise LeaveIt("Nothing was recorded.")
            if choice in ("o", "other", "another"):
                self.draft.another_unit = True
                tell(f"Recorded at the end: another unit, serial number {seen}, stands where this one should.")
                return True
            tell(EXPLAINED["mismatch"] if choice == HELP else "Type a, o or s.")

    # --- counters ---------------------------------------------------------------------------------------------

    def _counter(self, drive: str, source: str) -> None:
        past = self._past(drive, source)
        key = f"{COUNTER if source == 'mechanical' else CONTROLLER}/{drive}"
        last = past.last_before(self.draft.visited_on, minute_of(self.draft.at))
        hint = f"last {str(last.value).zfill(past.digits)} on {last.on}" if last else "no reading yet"
        present = past.same_day(self.draft.visited_on)
        if present is not None:
            again = "" if self.draft.at else " For another reading of that day give its time: --at HH:MM."
            tell(f"The book has {present.value} of {present.on} already, by {present.reader or 'somebody'}.{again}")
        minute = minute_of(self.draft.at)

        def check(value: int) -> str:
            if past.several_drives and key in self.asking.given:
                tell(f"{question}: {value}")  # nobody asked for it, so it is said whose it is
            return counter_doubt(past, self.draft.visited_on, value, minute)

        def valid(value: int) -> None:
            expected(past, self.draft.visited_on, value, minute)

        name = "Counter" if source == "mechanical" else "Controller's count"
        question = f"{name}, drive {drive}" if past.several_drives else name
        which = f" of drive {drive}" if past.several_drives else ""
        explain = EXPLAINED[source].format(drive=which, digits=past.digits)
        value, mark = self.asking.value(
            key, READINGS.field("value"), question, hint=hint, check=check, valid=valid, explain=explain
        )
        seen = f"{drive}/{source}"
        if value is None:
            self.draft.counters.pop(seen, None)
        else:
            self.draft.counters[seen] = {"value": value, "doubt": mark}

    def _past(self, drive: str, source: str) -> CounterPast:
        from tapwear.store.history import counter_past

        with self.store.rows() as connection:
            return counter_past(connection, self.ground.unit, drive, source, self.draft.visited_on)

    # --- observations -----------------------------------------------------------------------------------------

    def _observation(self, name: str) -> None:
        spec = BY_NAME[name]
        others = {key: value for key, value in self.draft.observations.items() if key != name}

        def valid(value: Any) -> None:
            try:
                noted({**{key: others[key] for key in POSITIONS if key in others}, name: value}, self.ground.positions)
            except Unfit as unfit:
                remedy = "read both again, the lower one comes first" if name in POSITIONS[1:] else unfit.remedy
                raise UsageError(f"{self.ground.unit.tag}: {unfit.found}; {remedy}.") from None

        def check(value: Any) -> str:
            return doubt_of(name, value, others, self.ground, self.asking.system)

        odd_level = name == "oil_temp_c" and others.get("oil_level") in ("low", "high")
        needed = f"The oil level is {others['oil_level']}: {_NEEDS_DEGREES}" if odd_level else ""
        before = seen_alarms(seen_on(self.draft)), self._leave
        value, mark = self.asking.value(
            name, spec, self._question(name), hint=self._hint(name), check=check, valid=valid, needed=needed
        )
        if value is None and odd_level and not self.asking.asks:
            tell(f"{needed.partition(':')[0]}, and no oil temperature was given: {_NO_JUDGEMENT}")
        if value is None:
            self.draft.observations.pop(name, None)
            self.draft.questioned.pop(name, None)
            return
        self.draft.observations[name] = value
        self.draft.questioned.pop(name, None)
        if mark:
            self.draft.questioned[name] = f"Questioned: {mark}"
        if name == "gas_bottle_kpa" and bottle_words(value, self.ground, self.asking.system):
            tell(bottle_words(value, self.ground, self.asking.system))
        if self.asking.asks:
            self._say_at_once(*before)

    def _say_at_once(self, before: list[Alarm], left: bool) -> None:
        """What the answer just given means for whoever stands before the unit. before, left : as it was without it"""
        if self._leave and not left:
            tell(stop_notice(self.draft.unit))
        elif not self._leave:
            tell_alarms(self.draft.unit, [one for one in seen_alarms(seen_on(self.draft)) if one not in before])

    def _more(self) -> None:
        """Which further groups of things are to be noted; each is then asked for."""
        names = ", ".join(MORE)
        while True:
            text = self.asking.typed(f"More to note: {names}, or all", "empty: nothing").casefold()
            words = re.split(r"[\s,;]+", text.strip())
            wanted = [[group for group in MORE if group.startswith(word)] for word in words if word and word != "all"]
            if text and (text == HELP or any(len(found) != 1 for found in wanted)):
                tell(f"Type one or more of {names} (the first letters are enough), or all.")
                continue
            self.draft.more = list(MORE) if "all" in words else [group for found in wanted for group in found]
            return

    def _question(self, name: str) -> str:
        spec = BY_NAME[name]
        words = label(name)
        words = words[0].upper() + words[1:]
        if spec.measure:
            return f"{words}, {unit_in(spec.measure, self.asking.system)[1]}"
        if name in POSITIONS and self.ground.positions_style:
            return f"{words}, {self.ground.positions_style}"
        if spec.choices:
            return f"{words}: {', '.join(spec.choices)}"
        if spec.kind == "yes or no":
            return f"{words}: yes, no"
        return f"{words}: places, or none" if name == "seepage" else words

    def _hint(self, name: str) -> str:
        last = self.ground.last.get(name)
        if last is None or name == REMARK:
            return "? helps"
        said = self._in_words(name, last.words if last.value is None else last.value)
        return f"last {said} on {last.observed_on}"

    # --- the sample -------------------------------------------------------------------------------------------

    def _sample(self) -> None:
        """Whether a sample was taken: never from energised equipment under negative pressure."""
        self.draft.sample_taken = self.draft.de_energised = False
        given = self.asking.given.get(SAMPLE)
        if given == "no" or (given is None and not self.asking.asks):
            return
        why = self._only_in_an_outage()
        self.draft.de_energised = "de-energised" in self.asking.given
        if why and not self.draft.de_energised:
            tell(*why)
            if not self.asking.asks:
                raise UsageError(
                    "Such a sample is recorded only with --de-energised: the unit was isolated and earthed. Nothing "
                    "was recorded."
                )
            if not self.asking.confirm("Is the unit de-energised, isolated and earthed", explain=EXPLAINED["dead"]):
                tell("No sample.")
                return
            self.draft.de_energised = True
        self.draft.sample_taken = given == "yes" or self.asking.confirm(
            "Was an oil sample taken", explain=EXPLAINED[SAMPLE]
        )

    def _only_in_an_outage(self) -> list[str]:
        """Why the oil must not be sampled in service: by the register, or by today's or the last pressure."""
        last = self.ground.last.get("pressure_kpa")
        pressure = self.draft.observations.get("pressure_kpa", last.value if last else None)
        why = list(only_de_energised(pressure, self.ground.sampling_needs_outage))
        if why and pressure is not None and pressure < 0:
            why.insert(-1, f"Pressure: {shown_in(pressure, 'pressure', self.asking.system)}.")
        return why


def seen_on(draft: Draft) -> list[Noticed]:
    """What the visit noted of the unit itself so far, as the outlook takes it."""
    if draft.another_unit:
        return []
    found = noted({name: value for name, value in draft.observations.items() if name not in POSITIONS})
    return [Noticed(draft.unit, draft.visited_on, "", name, number, words) for name, (number, words) in found.items()]


def _said(value: object) -> str:
    return "yes" if value is True else "no" if value is False else str(value)


def mismatch(store: Store, tag: str, known: str, seen: str, command: str) -> str:
    """What a serial number that is not this unit's may mean, "" where it is this unit's."""
    from tapwear.store.entries import squeezed

    if squeezed(seen) == squeezed(known):
        return ""
    words = f"{tag} has serial number {known}, you read {seen}."
    with store.rows() as connection:
        exact, near = whose_serial(connection, seen)
    if exact:
        return f"{words} That is {' or '.join(exact)}: you seem to stand before it (tapwear {command} {exact[0]})."
    if tag in near:
        return f"{words} They come near each other: read it again."
    return words + (f" It comes near that of {' or '.join(near)}." if near else " It is nowhere in the register.")


def counter_doubt(past: CounterPast, on: date, value: int, minute: int | None = None) -> str:
    """Why a number is questioned, "" for nothing; says the range that was expected."""
    told = expected(past, on, value, minute)
    say_range(told, on, past.digits)
    if not told.questioned:
        if told.reason:
            tell(f"Note: {ended(told.reason)}")
        return ""
    fits = "" if told.likely is None or str(told.likely) in told.reason else f"; {told.likely} would fit"
    return told.reason + fits
