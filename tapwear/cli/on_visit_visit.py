"""`tapwear visit`: a whole visit to one unit, asked step by step or given by options, saved in one piece at its end."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from tapwear.cli.context import open_the_store, who
from tapwear.cli.entering import at_a_terminal, past_day, stamp_of, system_of, value_of
from tapwear.visits.fields import READINGS

_UNIT, _SEEN, _HOW = "The right unit", "What was seen", "How it is recorded"


def _option(flag: str, metavar: str, words: str, panel: str = _SEEN) -> Any:
    return typer.Option(flag, metavar=metavar, help=words, rich_help_panel=panel)


def _flag(flags: str, words: str, panel: str = _SEEN) -> Any:
    return typer.Option(flags, help=words, rich_help_panel=panel)


def visit(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    station: Annotated[
        str | None, _option("--station", "CODE", "Where you are; must be the register's.", _UNIT)
    ] = None,
    bank: Annotated[str | None, _option("--bank", "NAME", "Likewise.", _UNIT)] = None,
    serial: Annotated[str | None, _option("--serial", "S", "Serial number on the nameplate.", _UNIT)] = None,
    another_unit: Annotated[
        bool, _flag("--another-unit", "That serial number is right: another unit stands here.", _UNIT)
    ] = False,
    counter: Annotated[
        list[str] | None, _option("--counter", "[DRIVE=]N", "What the counter shows; once per drive.")
    ] = None,
    controller: Annotated[
        list[str] | None, _option("--controller", "[DRIVE=]N", "A controller's count, as a series of its own.")
    ] = None,
    position: Annotated[str | None, _option("--position", "P", "Position shown, in the unit's own writing.")] = None,
    drag_low: Annotated[str | None, _option("--drag-low", "P", "Lowest position that the drag hands show.")] = None,
    drag_high: Annotated[str | None, _option("--drag-high", "P", "Highest position that the drag hands show.")] = None,
    drag_reset: Annotated[
        bool | None,
        _flag("--drag-reset/--drag-kept", "The drag hands were reset after reading.", _SEEN),
    ] = None,
    oil_level: Annotated[str | None, _option("--oil-level", "WORD", "low, normal or high.")] = None,
    oil_temperature: Annotated[
        str | None, _option("--oil-temperature", "T", "When the level was read; also as 105F, 41C.")
    ] = None,
    compartment_temperature: Annotated[
        str | None, _option("--compartment-temperature", "T", "Wall of the compartment.")
    ] = None,
    main_tank_temperature: Annotated[
        str | None, _option("--main-tank-temperature", "T", "Wall of the main tank, beside it.")
    ] = None,
    pressure: Annotated[
        str | None, _option("--pressure", "P", "Gauge pressure; below 0: vacuum. Also as 2psi.")
    ] = None,
    gas_bottle: Annotated[str | None, _option("--gas-bottle", "P", "Pressure in the bottle of a gas blanket.")] = None,
    breather: Annotated[str | None, _option("--breather", "WORD", "good, to be renewed or blocked.")] = None,
    seepage: Annotated[list[str] | None, _option("--seepage", "PLACE", "Where oil seeps; repeatable; or none.")] = None,
    heater: Annotated[str | None, _option("--heater", "WORD", "working, faulty or off.")] = None,
    noise: Annotated[str | None, _option("--noise", "WORD", "usual or unusual.")] = None,
    coating: Annotated[str | None, _option("--coating", "WORD", "sound or damaged.")] = None,
    counter_state: Annotated[
        str | None, _option("--counter-state", "WORD", "running, unreadable or standing still.")
    ] = None,
    drive_oil: Annotated[str | None, _option("--drive-oil", "WORD", "good, low or leaking.")] = None,
    drive_gear: Annotated[str | None, _option("--drive-gear", "WORD", "Belt or gear: sound, worn or broken.")] = None,
    end_stops: Annotated[str | None, _option("--end-stops", "WORD", "working or faulty.")] = None,
    crank_interlock: Annotated[
        str | None, _option("--crank-interlock", "WORD", "Of the hand crank: working or faulty.")
    ] = None,
    moves_by_hand: Annotated[
        bool | None,
        _flag("--moves-by-hand/--does-not-move", "The drive moves by hand; only tried de-energised.", _SEEN),
    ] = None,
    regulator_mode: Annotated[
        str | None, _option("--regulator-mode", "WORD", "automatic, manual, remote or off.")
    ] = None,
    relay_window: Annotated[
        str | None, _option("--relay-window", "WORD", "full of oil, gas seen or cannot be seen.")
    ] = None,
    filter_pressure: Annotated[str | None, _option("--filter-pressure", "P", "Of the on-line filter.")] = None,
    filter_hours: Annotated[str | None, _option("--filter-hours", "H", "Hours that the filter has run.")] = None,
    desiccant_colour: Annotated[
        str | None, _option("--desiccant-colour", "WORD", "blue, orange, green, pink, white, clear, brown or other.")
    ] = None,
    desiccant_share: Annotated[
        str | None, _option("--desiccant-share", "PERCENT", "Share of it that has changed colour.")
    ] = None,
    ambient_temperature: Annotated[
        str | None, _option("--ambient-temperature", "T", "Of the air, in the shade.")
    ] = None,
    bottle: Annotated[
        str | None, _option("--bottle", "NUMBER", "On the sample bottle; several compartments: 17;18.")
    ] = None,
    photo: Annotated[list[str] | None, _option("--photo", "NAME", "Number or name of a picture; repeatable.")] = None,
    remark: Annotated[str | None, _option("--remark", "TEXT", "What else was seen.")] = None,
    sample: Annotated[
        bool | None,
        _flag("--sample/--no-sample", "Whether an oil sample was taken; prints the label.", _SEEN),
    ] = None,
    de_energised: Annotated[
        bool,
        _flag("--de-energised", "For a sample under negative pressure: the unit is isolated and earthed.", _SEEN),
    ] = False,
    on: Annotated[str | None, _option("--on", "DATE", "Day of the visit; else today.", _HOW)] = None,
    at: Annotated[
        str | None, _option("--at", "HH:MM", "Time of day, where a unit is visited several times a day.", _HOW)
    ] = None,
    by: Annotated[str | None, _option("--by", "NAME", "Who visited; else you.", _HOW)] = None,
    units: Annotated[
        str | None, _option("--units", "SYSTEM", "metric or us; else `units` in the settings file, else metric.", _HOW)
    ] = None,
    sure: Annotated[
        str | None, _option("--sure", "REASON", "What looks odd is right: record it with its doubt.", _HOW)
    ] = None,
    resume: Annotated[bool, _flag("--resume", "Go on with the visit that was left unfinished.", _HOW)] = False,
    anew: Annotated[bool, _flag("--anew", "Drop an unfinished visit.", _HOW)] = False,
    ask: Annotated[
        bool | None,
        _flag("--ask/--no-ask", "Ask for what is not given; else only at a terminal.", _HOW),
    ] = None,
) -> None:
    """Record a whole visit to a unit: the right unit first, then counter, positions, oil, breather and the rest.

    At a terminal each thing is asked for and held against the unit's past as it is typed; what is odd is asked once
    and then kept with a mark. Empty: not read. ? explains, < goes back. Nothing is stored before the end; whatever
    stops it, the answers stay in a draft beside the store: --resume goes on. All can be given by options instead.

    Examples:
      tapwear visit T1
      tapwear visit T1 --resume
      tapwear visit T1 --serial S-1042 --counter 123456 --position 5L --oil-level normal --oil-temperature 41 --no-ask
      tapwear visit T3 --counter A=1200 --counter B=1204 --counter C=1199 --seepage "drain valve" --sample --no-ask

    Exit codes: 0 recorded; 2 command not understood, or another unit; 3 something questioned or not taken; 130 stopped,
    draft kept.
    """
    from tapwear.cli.visit_flow import How, make_visit

    given: dict[str, str | None] = {
        "station": station, "bank": bank, "serial": serial, "another unit": "yes" if another_unit else None,
        "position": position, "position_low": drag_low, "position_high": drag_high,
        "drag_hands_reset": _yes_or_no(drag_reset), "oil_level": oil_level, "oil_temp_c": oil_temperature,
        "compartment_temp_c": compartment_temperature, "main_tank_temp_c": main_tank_temperature,
        "pressure_kpa": pressure, "gas_bottle_kpa": gas_bottle, "breather": breather,
        "seepage": "; ".join(seepage) if seepage else None, "heater": heater, "noise": noise, "coating": coating,
        "counter_state": counter_state, "drive_oil": drive_oil, "drive_gear": drive_gear, "end_stops": end_stops,
        "crank_interlock": crank_interlock, "moves_by_hand": _yes_or_no(moves_by_hand),
        "regulator_mode": regulator_mode, "relay_window": relay_window, "filter_pressure_kpa": filter_pressure,
        "filter_hours": filter_hours, "breather_colour": desiccant_colour, "breather_share_percent": desiccant_share,
        "ambient_temp_c": ambient_temperature, "bottle_number": bottle,
        "photo_numbers": "; ".join(photo) if photo else None,
        "remark": remark, "sample": _yes_or_no(sample), "de-energised": "yes" if de_energised else None,
    }  # fmt: skip
    make_visit(
        open_the_store(context),
        unit,
        {name: text for name, text in given.items() if text is not None},
        {"counter": counter or [], "controller": controller or []},
        How(
            on=past_day(READINGS.field("read_on"), on),
            by=who(context, by),
            stamp=stamp_of(context, by),
            asks=at_a_terminal() if ask is None else ask,
            system=system_of(context, units),
            sure=sure,
            resume=resume,
            anew=anew,
            at="" if at is None else value_of(READINGS.field("read_time"), at, "--at"),
        ),
    )


def _yes_or_no(flag: bool | None) -> str | None:
    return None if flag is None else "yes" if flag else "no"
