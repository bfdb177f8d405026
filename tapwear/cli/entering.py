"""What the commands of the visit share: options into values, questions at a terminal, words on what was stored."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

import typer

from tapwear.cli.context import date_examples, day_typed, now, say, setup_of, today, who, wrapped
from tapwear.errors import DataRejected, UsageError
from tapwear.measures import SYSTEMS
from tapwear.report.plain import plain
from tapwear.store.doubts import other_century
from tapwear.visits.fields import GASES, FieldSpec, TableSpec

if TYPE_CHECKING:
    from tapwear.store.entries import Outcome
    from tapwear.store.recording import Stamp

# Ends of remedies that are meant for a file, and help nobody who types.
_OF_A_FILE = (", or leave the cell blank", ", or set decimal_comma = true in the mapping")
_THOUSANDS = r"(?<![0-9.,])[0-9]{1,3}(?:[ '\u2019\u00a0\u2009\u202f][0-9]{3})+(?![0-9])"
_WITH_UNIT = r"(<?\s*[0-9.,+-]+(?:[eE][+-]?[0-9]+)?)\s*([A-Za-zµμ°][A-Za-zµμ°/_]*)?"


def tell(*lines: str) -> None:
    """Lines for the person, on standard error."""
    for line in lines:
        say(line.replace("\n", " "))


def at_a_terminal() -> bool:
    """Whether somebody is there to answer a question."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def confirmed(question: str) -> bool:
    """The answer to a yes-or-no question; no unless yes is typed. Only at a terminal, never inside a transaction."""
    return asked(f"{question} (y/N)").casefold() in ("y", "yes")


def asked(question: str) -> str:
    """What is typed as an answer; "" for nothing. Only at a terminal, never inside a transaction.

    Raises EOFError when the input has ended.
    """
    typer.echo(wrapped(f"{plain(question)}: "), nl=False, err=True)
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line.strip()


def asked_value(spec: FieldSpec, question: str) -> str | None:
    """What is typed for a field, asked again until it can be; None for nothing."""
    while text := asked(question):
        try:
            value_of(spec, text, question.partition(" (")[0])
        except UsageError as error:
            tell(str(error))
        else:
            return text
    return None


def value_of(spec: FieldSpec, text: str, option: str) -> Any:
    """The value of one field from what was typed for it; a unit of measure may follow a number (`113F`, `53 gal_us`).

    Raises UsageError naming the option, what was found and what to do.
    """
    from tapwear.visits.values import Unfit, in_kept_unit, parser_for

    typed = _as_typed_number(text.strip()) if spec.kind in ("number", "gas", "count") else text.strip()
    try:
        if typed and spec.kind == "date" and (day := day_typed(typed)) is not None:
            return day
        if not typed:
            otherwise = "" if spec.required else ", or leave the option out"
            raise Unfit("nothing was given", f"give {spec.help}{otherwise}")
        if spec.measure:
            match = re.fullmatch(_WITH_UNIT, typed)
            number, unit = (match[1], match[2] or "") if match else (typed, "")
            return in_kept_unit(spec, parser_for(spec)(number), unit)
        return parser_for(spec)(typed)
    except Unfit as unfit:
        remedy = unfit.remedy
        for words in _OF_A_FILE:
            remedy = remedy.removesuffix(words)
        if spec.kind == "date":
            remedy = f"write it like {' or '.join(date_examples())}, or yesterday"
        raise UsageError(f"{option}: {unfit.found}; {remedy}.") from None


def _as_typed_number(text: str) -> str:
    """A number as people type it, in our writing: blanks or apostrophes between thousands go, a decimal comma is a
    point. 1,234 stays as it is: it may be either."""
    together = re.sub(_THOUSANDS, lambda match: re.sub(r"\D", "", match[0]), text)
    return re.sub(r"^([<+-]*\s*[0-9]+),(?![0-9]{3}(?![0-9]))([0-9]+)(?![0-9.,])", r"\1.\2", together)


def values_of(table: TableSpec, given: Mapping[str, Any], *, may_clear: bool = False) -> dict[str, Any]:
    """The values of all fields that were given (not None): text is read, yes or no is taken as it is.

    given : by field name; an option is called after its field, with hyphens and without the unit of measure
    may_clear : an empty text clears a text field
    """
    values: dict[str, Any] = {}
    for name, text in given.items():
        if text is None:
            continue
        spec = table.field(name)
        if not isinstance(text, str):
            values[name] = text
        elif may_clear and not text.strip() and spec.kind in ("text", "choice", "positions"):
            values[name] = ""
        else:
            values[name] = value_of(spec, text, OPTIONS.get(name, "--" + name.replace("_", "-")))
    return values


# Options that are not called after their field.
OPTIONS = {
    "unit": "TAG",
    "value": "VALUE",
    "kind": "KIND",
    "counter_digits": "--digits",
    "oil_volume_l": "--oil-volume",
    "main_tank_volume_l": "--main-tank-volume",
    "rated_current_a": "--rated-current",
    "step_voltage_v": "--step-voltage",
    "commissioned_on": "--commissioned",
    "visit_cadence": "--cadence",
    "read_on": "--on",
    "from_on": "--from",
    "to_on": "--to",
    "current_a": "--current",
    "happened_on": "--on",
    "noted_on": "--on",
    "act_by_on": "--act-by",
    "closed_on": "--on",
    "closed_words": "--words",
    "sampled_on": "--on",
    "done_on": "--on",
    "received_on": "--received",
    "reported_on": "--reported",
    "moisture_mg_per_kg": "--moisture",
    "breakdown_kv": "--breakdown",
    "breakdown_gap_mm": "--breakdown-gap",
    "oil_temp_c": "--oil-temperature",
    "compartment_temp_c": "--compartment-temperature",
    "main_tank_temp_c": "--main-tank-temperature",
    "pressure_kpa": "--pressure",
    "gas_bottle_kpa": "--gas-bottle",
    "counter_state": "--counter-state",
    "drive_oil": "--drive-oil",
    "drive_gear": "--drive-gear",
    "end_stops": "--end-stops",
    "crank_interlock": "--crank-interlock",
    "moves_by_hand": "--moves-by-hand",
    "regulator_mode": "--regulator-mode",
    "relay_window": "--relay-window",
    "filter_pressure_kpa": "--filter-pressure",
    "filter_hours": "--filter-hours",
    "breather_colour": "--desiccant-colour",
    "breather_share_percent": "--desiccant-share",
    "ambient_temp_c": "--ambient-temperature",
    "bottle_number": "--bottle",
    "photo_numbers": "--photo",
    "position_low": "--drag-low",
    "position_high": "--drag-high",
    "counter_reading": "--counter",
    "old_reading": "--old",
    "new_reading": "--new",
    "serial_seen": "--serial",
    "as_found_counter": "--as-found",
    "as_left_counter": "--as-left",
    "contact_left_mm": "--wear-left-mm",
    "condemning_limit_mm": "--condemning-mm",
    **{f"{gas}_ul_per_l": "--" + gas.replace("_", "-") for gas in GASES},
}


def past_day(spec: FieldSpec, text: str | None, option: str = "--on") -> date:
    """The day given, today where none is. Raises UsageError for a day to come, since nothing has happened on it yet,
    and for one of another century."""
    day = today() if text is None else value_of(spec, text, option)
    assert isinstance(day, date)  # noqa: S101 - the field is one of dates
    if day > today():
        raise UsageError(f"{option}: {day} lies in the future; today is {today()}.")
    doubt = other_century("", {spec.name: day}, today())
    if doubt is not None:
        raise UsageError(
            f"{option}: {doubt.found} A record as old as that is brought in with a file: tapwear import, and then "
            "tapwear confirm."
        )
    return day


def stamp_of(context: typer.Context, by: str | None, because: str = "") -> Stamp:
    """Who records now, and why."""
    from tapwear.store.recording import Stamp

    return Stamp(who(context, by), now(), because)


def system_of(context: typer.Context, units: str | None) -> str:
    """The system of units: --units, else `units` in the settings file, else metric. Raises UsageError for another."""
    said = units or str(setup_of(context).config.get("units", SYSTEMS[0]))
    if said.strip().casefold() not in SYSTEMS:
        raise UsageError(f"--units: {said!r} is no system of units; write {' or '.join(SYSTEMS)}.")
    return said.strip().casefold()


def replacing(replace: bool, because: str | None) -> str:
    """The reason of a correction. Raises UsageError for a correction without a reason, or a reason without one."""
    if replace and not (because and because.strip()):
        raise UsageError("--replace corrects what is in the book: say why with --because REASON.")
    if because and not replace:
        raise UsageError("--because gives the reason of a correction: add --replace.")
    return (because or "").strip()


def settle(outcome: Outcome, what: str, where: object) -> None:
    """Says what became of an entry. Raises DataRejected for a conflict, with both values and the way to correct."""
    if outcome.kind == "stored":
        tell(f"Stored: {what}. Store: {where}")
        return
    quiet = () if outcome.kind == "replaced" else ("reader", "done_by")  # the same number read by somebody else
    names = [
        name
        for name in outcome.differs
        if name not in quiet and not (name.endswith("_below") and _gas(name) in outcome.differs)
    ]
    pairs = {name: [_shown(outcome.differs, name, side) for side in (0, 1)] for name in names}
    if outcome.kind == "already there":
        tell(f"{what} is in the book already; nothing was added. Store: {where}")
        for name, (old, new) in pairs.items():
            tell(f"Not taken: {_label(name)} {new}; the book has {old}. To correct it: --replace --because REASON")
    elif outcome.kind == "conflict":
        listed = "; ".join(f"the log has {_label(name)} {old}, you entered {new}" for name, (old, new) in pairs.items())
        raise DataRejected(
            f"{what}: conflict: {listed}. Nothing was changed. To correct the log: "
            "the same command with --replace --because REASON."
        )
    else:
        listed = "; ".join(f"{_label(name)} was {old}, now {new}" for name, (old, new) in pairs.items())
        tell(f"Corrected: {what}: {listed}. What was there before is kept. Store: {where}")


def _gas(name: str) -> str:
    return name.removesuffix("_below") + "_ul_per_l"


def _label(column: str) -> str:
    """A column as a person calls it, without the unit of measure."""
    for ending in ("_ul_per_l", "_mg_per_kg", "_below", "_kv", "_mm", "_c", "_a"):
        column = column.removesuffix(ending)
    return column.replace("_", " ")


def _shown(differs: Mapping[str, tuple[Any, Any]], name: str, side: int) -> str:
    value = differs[name][side]
    if name.endswith("_below"):
        return "below the limit" if value else "measured"
    below = (
        differs.get(name.replace("_ul_per_l", "_below"), (False, False))[side] if name.endswith("_ul_per_l") else False
    )
    return f"below {in_words(value)}" if below and value is not None else in_words(value)


def in_words(value: Any) -> str:
    """A value as a person writes it."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if hasattr(value, "limit"):  # a gas under its detection limit
        return f"below {value.limit:g}"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, tuple):
        return ";".join(map(str, value))
    return str(value)
