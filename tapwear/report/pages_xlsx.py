"""A report as a workbook: due, units, doubtful readings, oil, assumptions; typed cells, so that it sorts and sums."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from tapwear.oil.types import AcetyleneTrend
from tapwear.outlook.conditions import Noted
from tapwear.outlook.types import Due
from tapwear.report.due_words import doubt_words, driver_words, next_words, status_words, told_day
from tapwear.report.frames import given
from tapwear.report.oil_unit import OilUnit, next_sample
from tapwear.report.oil_words import call_short
from tapwear.report.pages_choice import Paper
from tapwear.report.pages_fleet import Fleet, summary
from tapwear.report.pages_rests import rests_on
from tapwear.report.sheets import A4, LETTER, Column, new_workbook, table_sheet
from tapwear.words import CAUTIONS, stop_notice

PAPERS = {Paper.LETTER: LETTER, Paper.A4: A4}


def pages_xlsx(fleet: Fleet, paper: Paper) -> bytes:
    """The workbook. Dates and numbers are typed cells, text is never read as a formula or a link; the same fleet
    gives the same bytes. Raises MissingExtra without XlsxWriter."""
    made = datetime(fleet.as_of.year, fleet.as_of.month, fleet.as_of.day)  # noqa: DTZ001 - a cell has no zone
    work = new_workbook(f"Tap changers as of {fleet.as_of}", made, "The XLSX report")
    stops = fleet.stops()
    doubtful = fleet.readings[fleet.readings["status"] == "doubtful"].sort_values(["unit", "read_on"], kind="stable")
    sheets: tuple[tuple[str, Sequence[Column], Sequence[Any]], ...] = (
        ("due", _due_columns(stops), fleet.outlook.dues),
        ("units", (_stop_column(stops, _tag), *_unit_columns(fleet.conditions)), fleet.identities),
        ("doubtful readings", (_stop_column(stops, _tag), *DOUBTFUL), doubtful.to_dict("records")),
        ("oil", _oil_columns(), list(fleet.oil.values())),
        ("assumptions", (Column("what this report rests on", 120, lambda words: words),), _assumptions(fleet)),
    )
    for name, columns, rows in sheets:
        table_sheet(work, name, columns, rows, PAPERS[paper])
    return work.content()


def _stop_column(stops: Mapping[str, str], tag: Callable[[Any], str]) -> Column:
    """What stands at the unit of each row: the first column of every sheet about units."""
    return Column("stop", 16, lambda row: stops.get(tag(row), ""))


def _tag(row: Any) -> str:
    return str(row["unit"])


def _due_columns(stops: Mapping[str, str]) -> tuple[Column, ...]:
    """What stands on the sheet `due`, one row per unit and task."""

    def following(due: Due) -> str:
        return stop_notice(due.unit) if due.unit in stops else next_words(due)

    def share(name: str) -> Callable[[Due], object]:
        return lambda due: due.driver_share.get(name)

    return (
        _stop_column(stops, lambda due: str(due.unit)),
        Column("early (10 %)", 12, lambda due: told_day(due.early, due)),
        Column("middle (50 %)", 12, lambda due: told_day(due.middle, due)),
        Column("late (90 %)", 12, lambda due: told_day(due.late, due)),
        Column("unit", 16, lambda due: due.unit),
        Column("station", 14, lambda due: due.station),
        Column("region", 12, lambda due: due.region),
        Column("bank", 8, lambda due: due.bank),
        Column("phase", 7, lambda due: due.phase),
        Column("state", 11, lambda due: due.state),
        Column("task", 19, lambda due: due.task),
        Column("governed by", 18, driver_words),
        Column("chance operations first", 11, share("operations")),
        Column("chance calendar first", 11, share("calendar")),
        Column("chance oil first", 11, share("oil")),
        Column("chance of the noted condition", 11, share("condition")),
        Column("days moved by the oil", 10, lambda due: due.oil_moved_days),
        Column("operations since", 12, lambda due: _whole(due.operations_since)),
        Column("interval [operations]", 12, lambda due: due.interval_operations),
        Column("interval [years]", 9, lambda due: due.interval_years),
        Column("last service", 12, lambda due: due.last_service_on),
        Column("counter then", 11, lambda due: due.last_service_counter),
        Column("operations per year", 12, lambda due: _whole(due.operations_per_year)),
        Column("last reading", 12, lambda due: due.last_reading_on),
        Column("counter read", 11, lambda due: due.last_reading_value),
        Column("readings relied on", 10, lambda due: due.readings_used),
        Column("doubtful readings", 10, lambda due: due.readings_doubtful),
        Column("last sample", 12, lambda due: due.last_sample_on),
        Column("remarks", 40, status_words),
        Column("data caveats", 40, doubt_words),
        Column("next", 40, following),
        Column("deferred until", 12, lambda due: due.deferred_until),
        Column("deferral", 40, lambda due: due.deferral),
        Column("kit", 20, lambda due: due.kit),
        Column("lead time [weeks]", 9, lambda due: due.lead_time_weeks),
        Column("outage [days]", 9, lambda due: due.duration_days),
        Column("crew hours", 9, lambda due: due.crew_hours),
    )


def _unit_columns(conditions: Mapping[str, Sequence[Noted]]) -> tuple[Column, ...]:
    """What stands on the sheet `units`, one row per unit of the register."""
    noted = {tag: "; ".join(one.sentence for one in some) for tag, some in conditions.items()}
    names = (
        ("unit", 16), ("station", 10), ("station_name", 20), ("region", 12), ("bank", 8), ("phase", 7), ("state", 11),
        ("serial", 16), ("transformer_serial", 16), ("technology", 17), ("breathing", 12), ("scheme", 14),
        ("digits", 8), ("rated_current_a", 10), ("step_voltage_v", 10), ("oil_volume_l", 10),
        ("main_tank_volume_l", 10), ("commissioned_on", 14), ("visit_cadence", 12), ("peer_group", 14),
        ("oil_group", 18), ("sampling_needs_outage", 11),
    )  # fmt: skip
    columns = [Column(_heading(name), width, _field(name)) for name, width in names]
    return (*columns, Column("noted and still open", 40, lambda row: noted.get(str(row["unit"]), "")))


def _heading(name: str) -> str:
    """`rated current [A]` for `rated_current_a`."""
    words, _, unit = name.rpartition("_")
    return f"{words} [{unit.upper()}]".replace("_", " ") if unit in ("a", "v", "l") else name.replace("_", " ")


def _field(name: str) -> Callable[[Any], object]:
    def value(row: Any) -> object:
        found = row.get(name)
        text = name in ("technology", "breathing")
        return str(found).replace("_", " ") if text and given(found) else found

    return value


DOUBTFUL = (
    Column("unit", 16, lambda row: row["unit"]),
    Column("drive", 8, lambda row: row["drive"]),
    Column("read on", 12, lambda row: row["read_on"]),
    Column("counter", 12, lambda row: row["value"]),
    Column("source", 13, lambda row: row["source"]),
    Column("why it is doubtful", 60, lambda row: row["reason"]),
)


def _oil_columns() -> tuple[Column, ...]:
    """What stands on the sheet `oil`, one row per unit. A severe finding leaves out samples and oil work."""

    def trend(name: str) -> Callable[[OilUnit], object]:
        def value(unit: OilUnit) -> object:
            found: AcetyleneTrend | None = unit.verdict.trend if unit.verdict else None
            number = getattr(found, name) if found else None
            return round(number, 3) if isinstance(number, float) else number

        return value

    def findings(unit: OilUnit) -> str:
        return " ".join(finding.words for finding in unit.verdict.findings) if unit.verdict else ""

    def oil_work(unit: OilUnit) -> str:
        verdict = unit.verdict
        return "" if unit.severe or verdict is None else " ".join(finding.words for finding in verdict.oil_work)

    return (
        Column("stop", 16, lambda unit: unit.stop),
        Column("unit", 16, lambda unit: unit.unit),
        Column("where", 16, lambda unit: unit.place),
        Column("the oil says", 26, call_short),
        Column("why", 60, findings),
        Column("oil work, no reason to open", 40, oil_work),
        Column("last sample", 12, lambda unit: unit.verdict.last_sample_on if unit.verdict else None),
        Column("samples used", 9, lambda unit: unit.verdict.samples_used if unit.verdict else None),
        Column("oil since", 12, lambda unit: unit.verdict.evidence_since if unit.verdict else None),
        Column("acetylene per year [ppm]", 12, trend("rate_ul_per_l_per_year")),
        Column("low (10 %)", 10, trend("rate_low")),
        Column("high (90 %)", 10, trend("rate_high")),
        Column("acetylene per 1,000 operations [mL]", 13, trend("ml_per_1000_operations")),
        Column("next sample by", 12, lambda unit: next_sample(unit).by),
        Column("next sample, as advice", 45, lambda unit: next_sample(unit).words),
    )


def _assumptions(fleet: Fleet) -> list[str]:
    severe = fleet.severe()
    stop = [stop_notice(*severe)] if severe else []
    return [*stop, *CAUTIONS, *summary(fleet), *rests_on(fleet)]


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)
