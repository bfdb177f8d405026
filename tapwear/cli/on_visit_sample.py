"""`tapwear sample`: an oil sample with its results."""

from typing import Annotated

import typer

from tapwear.cli.context import open_the_store
from tapwear.cli.counter_check import doubt_kept, expected
from tapwear.cli.entering import in_words, past_day, replacing, settle, stamp_of, tell, value_of, values_of
from tapwear.cli.stops import raise_and_tell
from tapwear.visits.fields import GASES, SAMPLES

GAS_HELP = 'ppm (µL/L); "<0.5" for below the detection limit.'


def _gas(name: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(
        "--" + name.replace("_", "-"), metavar="PPM", help=GAS_HELP, rich_help_panel="Dissolved gas"
    )
    return option


def sample(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of sampling; else today.")] = None,
    hydrogen: Annotated[str | None, _gas("hydrogen")] = None,
    methane: Annotated[str | None, _gas("methane")] = None,
    ethane: Annotated[str | None, _gas("ethane")] = None,
    ethylene: Annotated[str | None, _gas("ethylene")] = None,
    acetylene: Annotated[str | None, _gas("acetylene")] = None,
    carbon_monoxide: Annotated[str | None, _gas("carbon_monoxide")] = None,
    carbon_dioxide: Annotated[str | None, _gas("carbon_dioxide")] = None,
    oxygen: Annotated[str | None, _gas("oxygen")] = None,
    nitrogen: Annotated[str | None, _gas("nitrogen")] = None,
    moisture: Annotated[str | None, typer.Option("--moisture", metavar="PPM", help="Water in oil, mg/kg.")] = None,
    breakdown: Annotated[str | None, typer.Option("--breakdown", metavar="KV", help="Breakdown voltage.")] = None,
    breakdown_method: Annotated[
        str | None, typer.Option("--breakdown-method", metavar="TEXT", help='Its test method, e.g. "IEC 60156".')
    ] = None,
    breakdown_gap: Annotated[
        str | None, typer.Option("--breakdown-gap", metavar="MM", help="Its electrode gap.")
    ] = None,
    oil_temperature: Annotated[
        str | None,
        typer.Option("--oil-temperature", metavar="T", help="At sampling, in °C; in Fahrenheit as 113F."),
    ] = None,
    main_tank: Annotated[bool, typer.Option("--main-tank", help="Taken from the main tank.")] = False,
    compartment: Annotated[
        str | None, typer.Option("--compartment", metavar="NAME", help="Which one, where there are several.")
    ] = None,
    compartment_serial: Annotated[
        str | None, typer.Option("--compartment-serial", metavar="S", help="Serial number seen on it.")
    ] = None,
    laboratory: Annotated[str | None, typer.Option("--laboratory", metavar="NAME", help="Laboratory.")] = None,
    reference: Annotated[
        str | None, typer.Option("--reference", metavar="TEXT", help="The laboratory's number for it.")
    ] = None,
    received: Annotated[
        str | None, typer.Option("--received", metavar="DATE", help="Day the laboratory had it.")
    ] = None,
    reported: Annotated[str | None, typer.Option("--reported", metavar="DATE", help="Day of the report.")] = None,
    counter: Annotated[
        str | None, typer.Option("--counter", metavar="N", help="Counter reading on the sample sheet.")
    ] = None,
    drive: Annotated[
        str | None, typer.Option("--drive", metavar="NAME", help="Whose counter, where there are several drives.")
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Anything else.")] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Correct the same sample in the book.")] = False,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why the book is corrected.")
    ] = None,
) -> None:
    """Record an oil sample.

    Give each result that the laboratory reported; leave out what it did not. Never sample energised equipment that
    is under negative pressure.

    The same sample is known by unit, compartment, day and laboratory's reference.

    Examples:
      tapwear sample T1 --on 2026-06-03 --acetylene 120 --ethylene 35 --hydrogen "<5" --laboratory East
      tapwear sample T1 --on 2026-06-03 --main-tank --acetylene "<0.5" --hydrogen 12
      tapwear sample T1 --moisture 18 --breakdown 42 --breakdown-method "IEC 60156" --oil-temperature 95F

    Exit codes: 0 recorded or already there; 2 command not understood; 3 in conflict with the book, not recorded.
    """
    from tapwear.store.compartments import known_serials
    from tapwear.store.entries import add_reading, add_sample
    from tapwear.store.find import find_unit
    from tapwear.store.history import counter_past

    reason = replacing(replace, because)
    amounts = (hydrogen, methane, ethane, ethylene, acetylene, carbon_monoxide, carbon_dioxide, oxygen, nitrogen)
    given = values_of(
        SAMPLES,
        {
            **{f"{gas}_ul_per_l": text for gas, text in zip(GASES, amounts, strict=True)},
            "moisture_mg_per_kg": moisture,
            "breakdown_kv": breakdown,
            "breakdown_method": breakdown_method,
            "breakdown_gap_mm": breakdown_gap,
            "oil_temp_c": oil_temperature,
            "compartment": compartment,
            "compartment_serial": compartment_serial,
            "laboratory": laboratory,
            "reference": reference,
            "remark": remark,
        },
    )
    given["sampled_on"] = day = past_day(SAMPLES.field("sampled_on"), on)
    given["taken_from"] = "main_tank" if main_tank else "compartment"
    for name, text in (("received_on", received), ("reported_on", reported)):
        if text is not None:
            given[name] = past_day(SAMPLES.field(name), text, "--" + name.removesuffix("_on"))
    number = None if counter is None else value_of(SAMPLES.field("counter_reading"), counter, "--counter")
    store = open_the_store(context)
    doubt, past = "", None
    with store.rows() as connection:
        key = find_unit(connection, unit)
        seen = "" if main_tank else given.get("compartment_serial", "")
        odd = known_serials(connection).doubt(key.tag, given.get("compartment", ""), seen) if seen else ""
        if number is not None:
            past = counter_past(connection, key, drive or "", "sample", day)
    if past is not None and number is not None:
        doubt = doubt_kept(expected(past, day, number), number, None, stop=False)
    stamp = stamp_of(context, by, reason)
    with store.rows(writing=True) as connection:
        outcome = add_sample(connection, key, given, stamp, replace=replace)
        if past is not None and number is not None and outcome.kind in ("stored", "replaced"):
            read = {"value": number, "read_on": day, "source": "sample", "drive": past.drive}
            add_reading(connection, key, read, stamp, doubt=doubt, replace=replace)
    if outcome.kind in ("stored", "replaced"):
        raise_and_tell(context, store, [key.tag], by, announced=True)
    results = {name: value for name, value in given.items() if name.endswith(("_ul_per_l", "_mg_per_kg", "_kv"))}
    listed = ", ".join(
        f"{name.removesuffix('_ul_per_l').removesuffix('_mg_per_kg').removesuffix('_kv').replace('_', ' ')} "
        f"{in_words(value)} {'kV' if name.endswith('_kv') else 'ppm'}"
        for name, value in results.items()
    )
    place = "main tank" if main_tank else f"compartment {given.get('compartment', '')}".strip()
    settle(outcome, f"{key.tag}, sample of {day} from the {place} ({listed})", store.path)
    if odd:
        tell(f"Mind: {odd}. Are you at the right unit?")
    if not main_tank and not {"acetylene_ul_per_l", "ethylene_ul_per_l"} <= given.keys():
        tell("Note: without both acetylene and ethylene the gases of this sample cannot be judged.")
