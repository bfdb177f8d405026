"""`tapwear sheet`: a round as one HTML file, to print or to fill in on a phone without a network."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import ON_THE_VISIT, as_of_or_today, open_the_store, say
from tapwear.cli.counter_check import limits_for
from tapwear.cli.entering import system_of
from tapwear.cli.next import samples_wanted
from tapwear.cli.scheduling import must_be_known
from tapwear.cli.visit_doubts import APART_K, HIGH_PRESSURE_KPA, USUAL_TEMPERATURES
from tapwear.cli.writing import HTML, may_write, named, write_out
from tapwear.errors import UsageError
from tapwear.outlook.signs import HOT_K
from tapwear.report.pages_choice import Paper

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tapwear.fleet import Assessment
    from tapwear.report.sheet_data import CounterBox, FieldBox, OpenBox, StationSheet, UnitBox
    from tapwear.store.engine import Store
    from tapwear.store.history import CounterPast
    from tapwear.store.observations import Seen
    from tapwear.store.rounds import RoundUnit

SHEET_HELP = (
    "Write a round sheet: one file to print, or to fill in on a phone without a network.\n\n"
    "Each unit of the station has its serial number, the last counter, the numbers to expect, what is open there, and "
    "room for what is read. On a phone or tablet the page shows one unit a screen, checks numbers as they are typed, "
    "asks once about an odd one, keeps entries by the day on which they were typed, and saves or shares a visit file; "
    "tapwear import takes it, from several people in any order. The sheet itself says how it gets onto a phone. Units "
    "with a severe finding have a stop notice and nothing to fill in.\n\n"
    "Examples:\n\n"
    "  tapwear sheet --station AH --out ah.html\n\n"
    "  tapwear sheet --due-visits --out round.html --days 14"
)
DAYS = 30  # how long the numbers to expect hold, where not said otherwise: our choice
LONGEST_DAYS = 366
MAIN = (
    "position",
    "position_low",
    "position_high",
    "drag_hands_reset",
    "oil_level",
    "oil_temp_c",
    "breather",
    "seepage",
)
SHOWN_LAST = ("position", "position_low", "position_high", "oil_level", "oil_temp_c", "pressure_kpa", "breather")
LEVELS = 6  # normal levels that the sheet carries; our choice
# A low level of oil as hot as this, or a high one of oil as cold as this, is asked about [°C]: our choice.
HOT_OIL_C, COLD_OIL_C = 60.0, 0.0
SOURCE_WORDS = {"controller": "controller's count", "raise": "raise counter", "lower": "lower counter"}


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("sheet", help=SHEET_HELP, rich_help_panel=ON_THE_VISIT)(sheet)


def sheet(
    context: typer.Context,
    station: Annotated[
        list[str] | None, typer.Option("--station", metavar="S", help="All units in service there; may be given again.")
    ] = None,
    due_visits: Annotated[
        bool, typer.Option("--due-visits", help="Only units to be read or sampled before the sheet expires.")
    ] = False,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="The file; else round-DATE.html.")] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Day of issue (ISO); else today.")
    ] = None,
    days: Annotated[
        int, typer.Option("--days", min=1, max=LONGEST_DAYS, help="For how many days the numbers to expect hold.")
    ] = DAYS,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper of the printed form, landscape.")] = Paper.A4,
    units: Annotated[
        str | None,
        typer.Option("--units", metavar="SYSTEM", help="metric or us; else `units` in the settings file, else metric."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,
) -> None:
    """Write a round sheet: one file to print, or to fill in on a phone without a network."""
    from tapwear.report.sheet_data import RoundSheet
    from tapwear.report.sheet_html import sheet_html
    from tapwear.report.terminal import progress

    if not station and not due_visits:
        raise UsageError("Say which round: --station S, or --due-visits, or both.")
    system = system_of(context, units)
    day = as_of_or_today(as_of)
    expires = day + timedelta(days=days)
    path = out or Path(f"round-{day}.html")
    store = open_the_store(context)
    may_write(path, store, force=force, endings=HTML)
    with progress("Working out what to expect"):
        assessment = _assess(store, day, station or [], due_visits)
        stations = _stations(store, assessment, station or [], due_visits, expires, system)
    sheet = RoundSheet(day, expires, stations, _fields(system), *_usual(system))
    write_out(path, sheet_html(sheet, paper))
    stops = sum(unit.stop for unit in sheet.units)
    stopped = f", {stops} of them with a stop notice" if stops else ""
    where = ", ".join(one.station for one in sheet.stations[:5]) + (", ..." if len(sheet.stations) > 5 else "")
    count = "1 unit" if len(sheet.units) == 1 else f"{len(sheet.units)} units"
    say(f"Wrote {named(path)}: {count} at {where}{stopped}; expires {expires}.")


def _assess(store: Store, day: date, stations: list[str], due_visits: bool) -> Assessment:
    """The fleet as of a day, or only the units of some stations where nothing else is asked for.

    Raises UsageError for an unknown station.
    """
    from tapwear.fleet import assess_store, assess_units
    from tapwear.store.company import station_codes, stood_at
    from tapwear.store.loading import load_units

    with store.rows() as connection:
        known, stood = station_codes(connection), stood_at(connection, stations)
    for name in stations:
        must_be_known("station", name, known)
    if due_visits:
        return assess_store(store, day)
    units = load_units(store, day, stood)
    folded = {name.casefold() for name in stations}
    return assess_units(store, units.loc[units["station"].str.casefold().isin(folded), "unit"].tolist(), day)


def _stations(
    store: Store, assessment: Assessment, wanted: list[str], due_visits: bool, expires: date, system: str
) -> tuple[StationSheet, ...]:
    """The stations of the round with their units in service, by bank and phase.

    A severe unit stands there also where no visit is due, so that nobody goes near. Raises UsageError when nothing is
    left.
    """
    from tapwear.fleet import severe_units
    from tapwear.report.sheet_data import StationSheet, UnitBox
    from tapwear.store.find import find_unit
    from tapwear.store.rounds import round_units

    units = assessment.book.units
    here = units[units["state"] == "in service"].sort_values(["station", "bank", "phase", "unit"], kind="stable")
    severe = severe_units(assessment)
    why = _reasons(assessment, expires)
    if due_visits:
        here = here[here["station"].isin(set(here.loc[here["unit"].isin(set(why) - set(severe)), "station"]))]
        here = here[here["unit"].isin(set(why) | set(severe))]
    if wanted:
        folded = {name.casefold() for name in wanted}
        here = here[here["station"].str.casefold().isin(folded)]
    if here.empty:
        raise UsageError(f"No unit in service is on such a round by {expires}; see tapwear next, or name a --station.")
    still_open = _open_boxes(assessment)
    outage = set(units.loc[units["sampling_needs_outage"].astype(bool), "unit"])
    boxes: dict[tuple[str, str], list[UnitBox]] = {}
    with store.rows() as connection:
        asked = round_units(connection, [find_unit(connection, str(tag)) for tag in here["unit"]], assessment.as_of)
    for one, row in zip(asked, here.itertuples(index=False), strict=True):
        box = UnitBox(one.tag, str(row.serial or ""), _place(row.bank, row.phase), stop=one.tag in severe)
        if not box.stop:
            counters = tuple(_counter(past, assessment.as_of, expires) for past in one.counters)
            told = tuple(why.get(one.tag, ()))
            box = replace(
                box,
                counters=counters,
                positions=one.positions,
                why=told,
                sample_needs_outage=one.tag in outage,
                transformer=str(row.transformer_serial or ""),
                open=tuple(_as_seen(box, one.last) for box in still_open.get(one.tag, ())),
                **_seen_last(one, system),
            )
        boxes.setdefault((str(row.station), str(row.station_name)), []).append(box)
    return tuple(StationSheet(station, name, tuple(mine)) for (station, name), mine in boxes.items())


def _open_boxes(assessment: Assessment) -> dict[str, list[OpenBox]]:
    """What is open at each unit: noted conditions first, then follow-ups."""
    from tapwear.fleet import unit_followups
    from tapwear.outlook.conditions import open_conditions
    from tapwear.outlook.followups import open_ones
    from tapwear.report.sheet_data import OpenBox

    found: dict[str, list[OpenBox]] = {}
    for tag, some in open_conditions(assessment.book.conditions, assessment.as_of).items():
        for noted in some:
            box = OpenBox("condition", noted.kind, noted.noted_on, noted.words, noted.sentence, engineer=noted.severe)
            found.setdefault(tag, []).append(box)
    for one in open_ones(unit_followups(assessment.book, assessment.as_of)):
        which = (one.kind, one.first_on, one.words, one.sentence, one.compartment, one.place, one.origin)
        found.setdefault(one.unit, []).append(OpenBox("follow-up", *which))
    return found


def _as_seen(box: OpenBox, last: Mapping[str, Seen]) -> OpenBox:
    """With what to note in the field of that kind where it is still so."""
    from tapwear.outlook.followups import FAULTS

    if box.item != "follow-up" or box.origin != "observation" or box.compartment:
        return box
    if box.kind == "seepage":
        return replace(box, seen=box.place)
    words = last[box.kind].words if box.kind in last else ""
    return replace(box, seen=words) if box.kind in FAULTS and words in FAULTS[box.kind][1] else box


def _seen_last(one: RoundUnit, system: str) -> dict[str, Any]:
    """What was noted last, for the card of the unit."""
    from tapwear.measures import shown_in, unit_in
    from tapwear.visits.observations import BY_NAME, label

    told = []
    for name in SHOWN_LAST:
        seen = one.last.get(name)
        if seen is not None:
            measure = BY_NAME[name].measure
            words = seen.words if seen.value is None else shown_in(seen.value, measure, system)
            told.append((label(name), words, seen.observed_on))
    unit = unit_in("temperature", system)[0]
    pressure = one.last.get("pressure_kpa")
    return {
        "last": tuple(told),
        "normal_levels": tuple((_in(value, "temperature", unit), on) for value, on in one.normal_levels[-LEVELS:]),
        "vacuum": pressure is not None and pressure.value is not None and pressure.value < 0,
    }


def _reasons(assessment: Assessment, expires: date) -> dict[str, list[str]]:
    """Why a unit is to be visited before the sheet expires: readings and samples that are due, samples that the oil
    asks for. Severe units are among them."""
    from tapwear.fleet import visits_overdue
    from tapwear.report.due_words import sentence

    why: dict[str, list[str]] = {}
    due = visits_overdue(assessment.book, expires)
    for unit, what, on in zip(due["unit"], due["what"], due["due_on"].dt.date, strict=True):
        when = "since" if on <= assessment.as_of else "on"
        why.setdefault(str(unit), []).append(f"{str(what).capitalize()} due {when} {on}.")
    for tag, one in samples_wanted(assessment, expires).items():
        if one.why in ("flagged", "routine"):  # a sample never taken is no reason to travel
            why.setdefault(tag, []).append(f"Oil sample by {one.by}. {sentence(one.words)}")
    return why


def _place(bank: object, phase: object) -> str:
    return ", ".join([f"bank {bank}"] * bool(bank) + [f"phase {phase}"] * bool(phase))


def _counter(past: CounterPast, day: date, expires: date) -> CounterBox:
    """A counter with what its entries are judged by, and what is expected on the first and the last day."""
    from tapwear.counts.judge import judge
    from tapwear.report.sheet_data import CounterBox, Expect

    exchanged = [(on, new) for on, _, new in past.replacements if on <= day]
    since = exchanged[-1][0] if exchanged else date.min
    begun = [(since, exchanged[-1][1])] if exchanged else []
    read = [(one.on, one.value) for one in past.counting if since < one.on <= day]
    mine = [(on, value) for on, value in [*begun, *read] if value is not None and value < 10**past.digits]
    limits = limits_for(past, day)
    known, doubtful = [], False
    if mine:
        last_on, last = mine[-1]
        first = max(day, last_on + timedelta(days=1))
        for on in (first, expires) if first < expires else (first,):
            found = judge(limits, on.toordinal(), last)
            if found.low is not None and found.high is not None:
                known.append(Expect(on, found.low, found.high))
                doubtful = found.last_doubtful
    name = [f"drive {past.drive}"] if past.several_drives else []
    name += [SOURCE_WORDS[past.source]] if past.source in SOURCE_WORDS else []
    newest = mine[-1] if mine else None
    exchange_last = bool(begun) and newest == begun[0]
    return CounterBox(past.drive, past.source, limits, ", ".join(name), newest, tuple(known), doubtful, exchange_last)


def _usual(system: str) -> tuple[tuple[float, float], float, float, float, float, float]:
    """Between which temperatures nothing is asked, from where on a level is hot or cold, how far apart two walls may
    be, what is much pressure, and from which difference on a compartment alarms, in the units asked for."""
    from tapwear.measures import unit_in

    degrees, gauge = unit_in("temperature", system)[0], unit_in("pressure", system)[0]
    low, high, hot, cold, zero, apart, hotter = (
        _in(value, "temperature", degrees)
        for value in (*USUAL_TEMPERATURES, HOT_OIL_C, COLD_OIL_C, 0.0, APART_K, HOT_K)
    )
    return (low, high), hot, cold, apart - zero, _in(HIGH_PRESSURE_KPA, "pressure", gauge), hotter - zero


def _fields(system: str) -> tuple[FieldBox, ...]:
    """What can be noted beside the counter, in the unit of measure asked for."""
    from tapwear.measures import unit_in
    from tapwear.report.sheet_data import FieldBox
    from tapwear.visits.observations import POSITIONS, QUANTITIES, label

    found = []
    for spec in QUANTITIES:
        if spec.name == "remark":
            continue
        kind = "position" if spec.name in POSITIONS else "number" if spec.kind == "number" else "text"
        choices = ("yes", "no") if spec.kind == "yes or no" else spec.choices
        unit, said = unit_in(spec.measure, system) if spec.measure else ("", "")
        found.append(
            FieldBox(
                name=spec.name,
                label=label(spec.name).capitalize(),
                kind="choice" if choices else kind,
                choices=choices,
                unit=said,
                unit_name=spec.unit_column if unit else "",
                low=_as_read(spec.low, spec.measure, unit),
                high=_as_read(spec.high, spec.measure, unit),
                more=spec.name not in MAIN,
            )
        )
    return tuple(found)


def _as_read(value: float | None, measure: str, unit: str) -> float | None:
    return None if value is None else _in(value, measure, unit)


def _in(value: float, measure: str, unit: str) -> float:
    from tapwear.measures import said_in

    return said_in(value, measure, unit) if unit else value
