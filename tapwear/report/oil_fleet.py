"""Who is unusual among like units: the fleet by groups of like equipment, each unit's acetylene among its like.

Units are never compared across how they interrupt, how they breathe, or their group of like equipment (domain
notes). Only units whose newest sample is recent enough to count as evidence are compared.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from tapwear.oil.settings import OilSettings
from tapwear.oil.types import RESETS
from tapwear.report.frames import day_of, given
from tapwear.report.oil_unit import OilUnit, gas_text, limits_seen, next_sample, ratio
from tapwear.report.oil_words import call_order, call_sentence, call_short, indented
from tapwear.report.page import Block, Line, stop_blocks, table
from tapwear.report.why_view import BREATHING, TECHNOLOGY

LEAST_LIKE_UNITS = 10  # others that a unit is compared with, so that a tenth of them is a unit. Our choice
UNUSUAL_SHARE = 0.9  # above this share of like units a unit is named; about C57.139's 90th percentile (domain notes)
NO_EVIDENCE = 3  # in the order of calls, see oil_words
FRESH_DAYS = 365  # oil renewed less than this before the sample is worth a word; our choice


@dataclass(frozen=True)
class Member:
    """One unit of a group, with its newest acetylene and its place among the others.

    acetylene : of the newest sample [µL/L, the detection limit where `below`]; None: no recent sample
    share : share of the others whose newest acetylene is lower [0-1]; None: not compared
    others : units that it is compared with
    heat : ethylene to acetylene; None: too little gas, or a vacuum unit
    renewed : day on which its oil was renewed within the year before the sample, else None
    """

    unit: OilUnit
    sampled_on: date | None
    acetylene: float | None
    acetylene_text: str
    below: bool
    share: float | None
    others: int
    heat: float | None
    renewed: date | None

    @property
    def unusual(self) -> bool:
        return self.share is not None and self.share >= UNUSUAL_SHARE


@dataclass(frozen=True)
class LikeGroup:
    """Like units: their group's name as recorded ("" for none), what they are, and the members, highest first."""

    name: str
    technology: str
    breathing: str
    members: tuple[Member, ...]

    @property
    def compared(self) -> int:
        return sum(1 for member in self.members if member.acetylene is not None)

    @property
    def few(self) -> bool:
        """Whether there are too few to compare."""
        return self.compared - 1 < LEAST_LIKE_UNITS

    @property
    def kind(self) -> str:
        """`arcing in oil, resistor type, free-breathing`."""
        words = (TECHNOLOGY.get(self.technology, ""), BREATHING.get(self.breathing, ""))
        return ", ".join(part for part in words if part) or "kind not recorded"


def like_groups(units: Iterable[OilUnit], speak: Collection[str] | None = None) -> tuple[LikeGroup, ...]:
    """The units that are not retired, by groups of like equipment; the largest group first.

    speak : units that each is compared with, see tapwear.peers; None: all
    """
    groups: dict[tuple[str, str, str], list[OilUnit]] = {}
    for unit in units:
        if unit.state != "retired":
            key = tuple(str(unit.identity.get(name) or "") for name in ("oil_group", "technology", "breathing"))
            groups.setdefault((key[0], key[1], key[2]), []).append(unit)
    made = [LikeGroup(*key, _members(group, speak)) for key, group in groups.items()]
    return tuple(sorted(made, key=lambda group: (-len(group.members), group.name, group.technology, group.breathing)))


def _members(units: Sequence[OilUnit], speak: Collection[str] | None) -> tuple[Member, ...]:
    newest = [_newest(unit) for unit in units]
    told = {member.unit.unit for member in newest if speak is None or member.unit.unit in speak}
    ordered = sorted(
        _amount(member.acetylene, member.below)
        for member in newest
        if member.acetylene is not None and member.unit.unit in told
    )
    out = []
    for member in newest:
        others = len(ordered) - (member.unit.unit in told)
        if member.acetylene is None or others < LEAST_LIKE_UNITS:
            out.append(member)
            continue
        lower = bisect_left(ordered, _amount(member.acetylene, member.below))
        out.append(replace(member, share=lower / others, others=others))
    return tuple(sorted(out, key=lambda one: (-_amount(one.acetylene, one.below), one.unit.unit)))


def _amount(value: float | None, below: bool) -> float:
    """For putting in order: below a detection limit is less than anything seen, and nothing less still."""
    return -1.0 if value is None else 0.0 if below else value


def _newest(unit: OilUnit) -> Member:
    """The newest acetylene of a unit; of several compartments the highest of their newest."""
    stale = OilSettings().stale_after_days
    best = Member(unit, None, None, "", False, None, 0, None, None)
    for compartment in unit.compartments():
        rows = unit.rows(compartment)
        row = next((row for row in rows if given(row.get("acetylene"))), None)
        day = day_of(row["sampled_on"]) if row else None
        if row is None or day is None:
            continue
        if (unit.as_of - day).days > stale:
            best = best if best.sampled_on else Member(unit, day, None, "", False, None, 0, None, None)
            continue
        value, below = float(row["acetylene"]), bool(row.get("acetylene_below"))
        if best.acetylene is not None and _amount(value, below) <= _amount(best.acetylene, best.below):
            continue
        vacuum = unit.identity.get("technology") == "vacuum"
        heat = None if vacuum else ratio(row, ("ethylene",), "acetylene", limits_seen(rows))
        renewed = next((on for on in unit.happened(*RESETS) if on <= day and (day - on).days < FRESH_DAYS), None)
        best = Member(unit, day, value, gas_text(row, "acetylene"), below, None, 0, heat, renewed)
    return best


def place_short(member: Member) -> str:
    """`above 9 in 10`: the unit's acetylene among its like, where there are enough of them."""
    if member.acetylene is None:
        return "no recent sample"
    if member.share is None:
        return "too few like units"
    if member.share >= 1.0:
        return "above all"
    tenths = int(member.share * 10 + 1e-9)
    return f"above {tenths} in 10" if tenths else "among the lowest"


def place_words(member: Member) -> str:
    """`above 9 in 10 of 31 others`: the same with the number of units it is compared with."""
    return place_short(member) + (f" of {member.others} others" if member.share is not None else "")


def member_of(groups: Iterable[LikeGroup], tag: str) -> tuple[LikeGroup, Member] | None:
    """The group and the place of one unit; None for a retired one."""
    return next(((group, one) for group in groups for one in group.members if one.unit.unit == tag), None)


def fleet_page(groups: Sequence[LikeGroup], *, full: bool = False) -> list[Block]:
    """What the oil of a fleet asks for, calls first, then who is unusual among similar units.

    full : every unit of every group, not only those above 9 in 10 of their like and those with a call
    """
    units = sorted((one.unit for group in groups for one in group.members), key=lambda one: (call_order(one), one.unit))
    if not units:
        return [Block("Oil of the fleet", (Line("The store holds no units in use."),))]
    severe = [unit.unit for unit in units if unit.severe]
    blocks = stop_blocks(severe)
    blocks.append(Block(f"Oil of the fleet as of {units[0].as_of}", tuple(Line(line) for line in _counts(units))))
    called = [unit for unit in units if _asks(unit)]
    lines: list[Line] = []
    for unit in called:
        who = "   ".join(part for part in (unit.stop, unit.unit, unit.place) if part)
        lines += [Line(who), indented(call_sentence(unit))]
        lines += [] if unit.severe else [indented(f"Next sample: {next_sample(unit).words}")]
    blocks += [Block("What it asks for", tuple(lines))] if lines else []
    blind = [unit for unit in units if call_order(unit) == NO_EVIDENCE]
    if blind:
        words = [f"{unit.unit}: {_since(unit)}" for unit in blind]
        blocks.append(Block("No recent oil sample: samples", (Line("; ".join(words)),)))
    telling = [group for group in groups if full or _shown(group, full)]
    blocks += [_group_block(group, full) for group in telling]
    silent = [group for group in groups if group not in telling]
    return blocks + ([_silent_block(silent)] if silent else [])


def _since(unit: OilUnit) -> str:
    """`none since 2022-03-01 (spare)`: how long there has been no sample."""
    last = unit.verdict.last_sample_on if unit.verdict else None
    state = "" if unit.state == "in service" else f" ({unit.state})"
    return (f"none since {last}" if last else "none ever") + state


def _asks(unit: OilUnit) -> bool:
    return call_order(unit) <= 2


def _counts(units: Sequence[OilUnit]) -> list[str]:
    """How many units there are of each call, in sentences."""
    words: Mapping[int, str] = {
        0: "severe: call the responsible engineer",
        1: "calls for an internal inspection",
        2: "unusual: resample to confirm",
        3: "no oil evidence: no recent sample",
        4: "nothing unusual, which postpones no date",
    }
    tally = {order: sum(1 for unit in units if call_order(unit) == order) for order in words}
    width = max(len(f"{count:,}") for count in tally.values())
    return [f"{tally[order]:>{width},}  {text}" for order, text in words.items() if tally[order]]


def _shown(group: LikeGroup, full: bool) -> list[Member]:
    """Who of a group is shown: all, or those above 9 in 10 of their like and those with a call."""
    return [one for one in group.members if full or one.unusual or _asks(one.unit)]


def _size(group: LikeGroup) -> str:
    count = len(group.members)
    return f"{count} unit{'s' if count != 1 else ''}, {group.compared} with a recent sample"


def _title(group: LikeGroup) -> str:
    return group.name or "no group recorded"


def _group_block(group: LikeGroup, full: bool) -> Block:
    """One group: what it is, who stands out, and how many others there are."""
    shown = _shown(group, full)
    vacuum = group.technology == "vacuum"
    like = "among like units" if group.few else f"among {group.compared - 1} others"
    headings = ["unit", "sampled", "C2H2 ppm", *([] if vacuum else ["C2H4/C2H2"]), like, "call"]
    rows = [
        [
            one.unit.unit,
            str(one.sampled_on or ""),
            one.acetylene_text,
            *([] if vacuum else [f"{one.heat:.2f}" if one.heat is not None else ""]),
            place_short(one),
            call_short(one.unit) + (f"; oil renewed {one.renewed}" if one.renewed else ""),
        ]
        for one in shown
    ]
    rest = len(group.members) - len(shown)
    kind = f"{group.kind[:1].upper()}{group.kind[1:]}."
    lines = [Line(kind + (f" Too few to compare: it takes {LEAST_LIKE_UNITS + 1}." if group.few else ""))]
    lines += table(headings, rows, [2] if vacuum else [2, 3], [one.unit.stop for one in shown])
    lines += [Line(f"and {rest} other{'s' if rest != 1 else ''} (--all shows them)")] if rest else []
    return Block(f"{_title(group)}: {_size(group)}", tuple(lines))


def _silent_block(groups: Sequence[LikeGroup]) -> Block:
    """The groups in which no unit stands out or has a call."""
    rows = [
        [f"{_title(group)}:", _size(group) + ("; too few to compare" if group.few else "") + f" ({group.kind})"]
        for group in groups
    ]
    return Block("Groups in which none stands out (--all shows them)", tuple(table(["", ""], rows)))
