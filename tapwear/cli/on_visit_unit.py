"""`tapwear unit`: who is who. Units are added, corrected, moved, swapped, retired, shown and listed."""

from typing import Annotated, Any

import typer

from tapwear.cli.confirming import stood_by
from tapwear.cli.context import open_the_store, say_waiting, today
from tapwear.cli.entering import OPTIONS, in_words, past_day, stamp_of, tell, values_of
from tapwear.cli.stops import before_list, stops_among
from tapwear.errors import UsageError
from tapwear.visits.fields import EVENTS, UNITS
from tapwear.words import as_typed

unit = typer.Typer(no_args_is_help=True, help="Unit register: add, correct, move, swap, retire, show and list units.")

_PLATE, _DUTY, _PLACE = "Nameplate and equipment", "Duty and service", "Where it stands"


def _option(name: str, metavar: str, panel: str, words: str = "") -> typer.models.OptionInfo:
    flag = OPTIONS.get(name, "--" + name.replace("_", "-"))
    text = words or UNITS.field(name).help
    option: typer.models.OptionInfo = typer.Option(
        flag, metavar=metavar, help=f"{text[0].upper()}{text[1:]}.".replace("[", "\\["), rich_help_panel=panel
    )
    return option


Tag = Annotated[str, typer.Argument(metavar="TAG", help="The owner's tag of the unit.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]
Sure = Annotated[
    str | None,
    typer.Option("--sure", metavar="REASON", help="It is right although similar units differ: record it."),
]
Because = Annotated[str, typer.Option("--because", metavar="REASON", help="Why.")]
NewStation = Annotated[
    bool, typer.Option("--new-station", help="The station is new, although its code comes near another's.")
]
On = Annotated[str | None, typer.Option("--on", metavar="DATE", help="From which day on; else today.")]
Station = Annotated[str | None, _option("station", "CODE", _PLACE, "Short code of the station; made if it is new")]
Bank = Annotated[str | None, _option("bank", "NAME", _PLACE)]
Phase = Annotated[str | None, _option("phase", "NAME", _PLACE)]
Region = Annotated[str | None, _option("region", "NAME", _PLACE)]
State = Annotated[str | None, _option("state", "STATE", _PLACE, "In service (as usual), spare, workshop or retired")]
TransformerSerial = Annotated[str | None, _option("transformer_serial", "S", _PLACE)]
Digits = Annotated[str | None, _option("counter_digits", "N", _PLATE)]
Serial = Annotated[str | None, _option("serial", "S", _PLATE)]
Technology = Annotated[str | None, _option("technology", "KIND", _PLATE, "arcing_resistor, arcing_reactor or vacuum")]
Breathing = Annotated[str | None, _option("breathing", "KIND", _PLATE, "Compartment: free, desiccant or sealed")]
Conservator = Annotated[str | None, _option("conservator", "KIND", _PLATE, "Separate, or common with the main tank")]
OilVolume = Annotated[
    str | None,
    _option("oil_volume_l", "L", _PLATE, "Oil in the compartment, litres; other units as 53gal_us, 44gal_imp"),
]
MainTankVolume = Annotated[str | None, _option("main_tank_volume_l", "L", _PLATE, "Oil in the main tank, likewise")]
RatedCurrent = Annotated[str | None, _option("rated_current_a", "A", _PLATE)]
StepVoltage = Annotated[str | None, _option("step_voltage_v", "V", _PLATE)]
Drives = Annotated[str | None, _option("drives", "NAMES", _PLATE)]
Compartments = Annotated[str | None, _option("compartments", "NAMES", _PLATE)]
CompartmentSerials = Annotated[str | None, _option("compartment_serials", "SERIALS", _PLATE)]
PositionRange = Annotated[str | None, _option("positions", "RANGE", _PLATE)]
SamplingNeedsOutage = Annotated[
    bool | None,
    typer.Option(
        "--sampling-needs-outage/--sampling-in-service",
        help="Whether its oil can be sampled only when it is out of service.",
        rich_help_panel=_DUTY,
    ),
]
Scheme = Annotated[str | None, _option("scheme", "NAME", _DUTY)]
IntervalOperations = Annotated[str | None, _option("interval_operations", "N", _DUTY)]
IntervalYears = Annotated[str | None, _option("interval_years", "N", _DUTY)]
Commissioned = Annotated[str | None, _option("commissioned_on", "DATE", _DUTY)]
PeerGroup = Annotated[str | None, _option("peer_group", "NAME", _DUTY)]
OilGroup = Annotated[str | None, _option("oil_group", "NAME", _DUTY)]
Cadence = Annotated[str | None, _option("visit_cadence", "TEXT", _DUTY)]
Note = Annotated[str | None, _option("note", "TEXT", _DUTY)]


def _fields(context: typer.Context) -> dict[str, Any]:
    """What was given for each field of a unit: the parameters of `add` and `change` are named after the fields."""
    return {field.name: context.params.get(field.name) for field in UNITS.fields}


@unit.command("add")
def add(
    context: typer.Context,
    tag: Tag,
    station: Station = None,
    counter_digits: Digits = None,
    bank: Bank = None,
    phase: Phase = None,
    region: Region = None,
    state: State = None,
    transformer_serial: TransformerSerial = None,
    new_station: NewStation = False,
    serial: Serial = None,
    technology: Technology = None,
    breathing: Breathing = None,
    conservator: Conservator = None,
    oil_volume_l: OilVolume = None,
    main_tank_volume_l: MainTankVolume = None,
    rated_current_a: RatedCurrent = None,
    step_voltage_v: StepVoltage = None,
    drives: Drives = None,
    compartments: Compartments = None,
    compartment_serials: CompartmentSerials = None,
    positions: PositionRange = None,
    scheme: Scheme = None,
    interval_operations: IntervalOperations = None,
    interval_years: IntervalYears = None,
    commissioned_on: Commissioned = None,
    peer_group: PeerGroup = None,
    oil_group: OilGroup = None,
    visit_cadence: Cadence = None,
    sampling_needs_outage: SamplingNeedsOutage = None,
    note: Note = None,
    sure: Sure = None,
    by: By = None,
) -> None:
    """Add a unit. Only the tag, --station and --digits are needed; the rest can follow with: tapwear unit change.

    Examples:
      tapwear unit add T1 --station NORTH --digits 6
      tapwear unit add T2 --station NORTH --bank B2 --digits 5 --serial S-1042 --technology vacuum --scheme vacuum-10y
      tapwear unit add T3 --station FURNACE --digits 6 --drives "A;B;C" --compartments "A;B;C" --oil-volume 53gal_us
    """
    from tapwear.store.register import add_unit

    given = values_of(UNITS, {**_fields(context), "unit": tag})
    for name, option in (("station", "--station"), ("counter_digits", "--digits")):
        if name not in given:
            raise UsageError(f"{option} is needed for a new unit: {UNITS.field(name).help}.")
    store = open_the_store(context)
    stamp = stamp_of(context, by, stood_by(store, given["unit"], given, sure))
    with store.rows(writing=True) as connection:
        key = add_unit(connection, given, stamp, sure=new_station)
    tell(f"Added {key.tag} at {given['station']}. Store: {store.path}")
    open_points = [
        words
        for words, names in (
            ("serial number (confirms the unit on a visit)", ("serial",)),
            (
                "service interval or scheme (without one no date can be given)",
                ("interval_operations", "interval_years", "scheme"),
            ),
            ("technology (oil of vacuum units is judged apart)", ("technology",)),
        )
        if not any(name in given for name in names)
    ]
    if open_points:
        change = f"tapwear unit change {as_typed(key.tag)} --help"
        tell(f"Not known yet: {'; '.join(open_points)}. Add with: {change}")


@unit.command("change")
def change(
    context: typer.Context,
    tag: Tag,
    new_tag: Annotated[str | None, typer.Option("--tag", metavar="TAG", help="Another tag.")] = None,
    station: Station = None,
    counter_digits: Digits = None,
    bank: Bank = None,
    phase: Phase = None,
    region: Region = None,
    state: State = None,
    transformer_serial: TransformerSerial = None,
    new_station: NewStation = False,
    serial: Serial = None,
    technology: Technology = None,
    breathing: Breathing = None,
    conservator: Conservator = None,
    oil_volume_l: OilVolume = None,
    main_tank_volume_l: MainTankVolume = None,
    rated_current_a: RatedCurrent = None,
    step_voltage_v: StepVoltage = None,
    drives: Drives = None,
    compartments: Compartments = None,
    compartment_serials: CompartmentSerials = None,
    positions: PositionRange = None,
    scheme: Scheme = None,
    interval_operations: IntervalOperations = None,
    interval_years: IntervalYears = None,
    commissioned_on: Commissioned = None,
    peer_group: PeerGroup = None,
    oil_group: OilGroup = None,
    visit_cadence: Cadence = None,
    sampling_needs_outage: SamplingNeedsOutage = None,
    note: Note = None,
    sure: Sure = None,
    because: Because = "",
    by: By = None,
) -> None:
    """Correct or complete what the register says of a unit; what it said before is kept.

    Station, bank and phase given here correct a mistake, from the beginning of the present stay. For a unit that
    was moved on a day, use: tapwear unit move. An empty text clears a field.

    Examples:
      tapwear unit change T1 --serial S-1042 --interval-operations 60000 --interval-years 7
      tapwear unit change T1 --bank B2 --because "was entered under the wrong bank"
      tapwear unit change T1 --note ""
    """
    from tapwear.store.find import find_unit
    from tapwear.store.register import change_unit

    given = values_of(UNITS, {**_fields(context), "unit": new_tag}, may_clear=True)
    if not given:
        raise UsageError("Say what to change, e.g. --serial S-1042. All fields: tapwear unit change --help")
    if given.get("unit") == "" or given.get("station") == "":
        raise UsageError("A unit needs a tag and a station; they cannot be cleared.")
    store = open_the_store(context)
    with store.rows() as connection:
        tag = find_unit(connection, tag).tag
    reason = stood_by(store, tag, given, sure)
    with store.rows(writing=True) as connection:
        changes = change_unit(connection, tag, given, stamp_of(context, by, because or reason), sure=new_station)
    for one in changes:
        if one.field.endswith("_id"):
            tell(f"{one.field.removesuffix('_id')} corrected")
        else:
            tell(f"{one.field.replace('_', ' ')}: {in_words(one.before)} -> {in_words(one.after)}")
    tell(f"Changed {tag}. Store: {store.path}" if changes else f"{tag} is like that already; nothing was changed.")


@unit.command("move")
def move(
    context: typer.Context,
    tag: Tag,
    on: On = None,
    station: Station = None,
    bank: Bank = None,
    phase: Phase = None,
    state: State = None,
    transformer_serial: TransformerSerial = None,
    new_station: NewStation = False,
    because: Because = "",
    by: By = None,
) -> None:
    """Record that a unit stands somewhere else, or is in another state, from a day on.

    Its wear goes with it; the rate of operations is that of the new place.

    Examples:
      tapwear unit move T1 --on 2026-04-02 --station SOUTH --bank B1
      tapwear unit move T1 --on 2026-04-02 --state workshop
    """
    from tapwear.store.register import move_unit

    places = {
        "station": station,
        "bank": bank,
        "phase": phase,
        "state": state,
        "transformer_serial": transformer_serial,
    }
    given = values_of(UNITS, places)
    if station is None and (bank is not None or phase is not None):
        raise UsageError("A bank or phase belongs to a station: give --station too.")
    if not given:
        raise UsageError("Say where it goes: --station, --bank, --phase, or its new --state.")
    day = past_day(EVENTS.field("happened_on"), on)
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = move_unit(
            connection,
            tag,
            day,
            stamp_of(context, by, because),
            station=given.get("station"),
            bank=given.get("bank", ""),
            phase=given.get("phase", ""),
            state=given.get("state"),
            transformer_serial=given.get("transformer_serial"),
            sure=new_station,
        )
    tell(f"Moved {key.tag} on {day}. Store: {store.path}")


@unit.command("swap")
def swap(
    context: typer.Context,
    tag: Tag,
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The unit that takes its place.")],
    on: On = None,
    state: Annotated[
        str | None,
        typer.Option("--state", metavar="STATE", help="Of the unit that leaves: workshop (as usual) or spare."),
    ] = None,
    because: Because = "",
    by: By = None,
) -> None:
    """Record that another unit takes a unit's place.

    The unit that leaves goes to the workshop (or is a spare, or retired, by --state). Where the other one is in
    service elsewhere, the two exchange places. Wear goes with the tap changer, the rate stays with the place.

    Example: tapwear unit swap T1 SP-3 --on 2026-04-02 --state spare
    """
    from tapwear.store.register import swap_units

    given = values_of(UNITS, {"state": state})
    if given.get("state") == "in service":
        raise UsageError("--state: the unit that leaves is a spare, in the workshop, or retired.")
    day = past_day(EVENTS.field("happened_on"), on)
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        stamp = stamp_of(context, by, because)
        left, came = swap_units(connection, tag, other, day, stamp, state=given.get("state"))
    tell(f"On {day} {came.tag} took the place of {left.tag}. Store: {store.path}")


@unit.command("retire")
def retire(context: typer.Context, tag: Tag, on: On = None, because: Because = "", by: By = None) -> None:
    """Record that a unit is out of use for good. Its history is kept; it is due for nothing any more.

    Example: tapwear unit retire T1 --on 2026-04-02 --because "scrapped with its transformer"
    """
    from tapwear.store.register import retire_unit

    day = past_day(EVENTS.field("happened_on"), on)
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = retire_unit(connection, tag, day, stamp_of(context, by, because))
    tell(f"Retired {key.tag} on {day}. Store: {store.path}")


@unit.command("show")
def show(
    context: typer.Context,
    tag: Tag,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON instead of words.")] = False,
) -> None:
    """Show what the register says of a unit, what is open there, where it has stood, and what the book holds of it.

    Example: tapwear unit show T1
    """
    from tapwear.cli import unit_pages
    from tapwear.cli.followups import open_words
    from tapwear.store.find import find_unit
    from tapwear.store.overview import unit_sheet

    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, tag)
        sheet = unit_sheet(connection, key)
    still_open = open_words(store, key, today())
    say_waiting(store, [sheet.tag])
    stops = stops_among(store, [sheet.tag])
    if as_json:
        typer.echo(unit_pages.as_json(sheet, stops, still_open))
    else:
        typer.echo(before_list(stops) + unit_pages.sheet_page(sheet, still_open))


@unit.command("list")
def list_all(
    context: typer.Context,
    station: Annotated[str | None, typer.Option("--station", metavar="CODE", help="Only this station.")] = None,
    state: Annotated[str | None, typer.Option("--state", metavar="STATE", help="Only units in this state.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON instead of columns.")] = False,
) -> None:
    """List all units: tag, place, state, serial number, last reading.

    Example: tapwear unit list --station NORTH
    """
    from tapwear.cli import unit_pages
    from tapwear.cli.scheduling import must_be_known
    from tapwear.store.overview import list_units

    given = values_of(UNITS, {"state": state})
    store = open_the_store(context)
    with store.rows() as connection:
        lines = every = list_units(connection)
    if station is not None:
        must_be_known("station", station.strip(), {line.station for line in every})
        lines = [line for line in lines if line.station.casefold() == station.strip().casefold()]
    if state is not None:
        lines = [line for line in lines if line.state == given["state"]]
    stops = stops_among(store, (line.tag for line in lines))
    page = unit_pages.as_json(lines, stops) if as_json else before_list(stops) + unit_pages.list_page(lines, stops)
    typer.echo(page)
    if not lines:
        tell(
            "No unit is like that."
            if every
            else "No units. Add one with: tapwear unit add --help, or read a file with: tapwear import --help"
        )
