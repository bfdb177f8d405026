"""The counter of one unit on its page: the rate in words, the chart, and the readings with their doubts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from tapwear.counts.calibrate import FLEET_PLACES
from tapwear.outlook.types import Due
from tapwear.report.charts_terminal import count_chart
from tapwear.report.due_words import chance_words, count_words, sentence
from tapwear.report.frames import day_of, newest
from tapwear.report.page import Line, fixed, table
from tapwear.report.stories import CountStory, Subject

if TYPE_CHECKING:
    import pandas as pd

# Our choices: so many readings are listed; the chart looks this far past the late date, or ahead where there is none;
# and it gives the time to come at least this share of the time gone by.
READINGS_SHOWN = 12
PAST_LATE = timedelta(days=120)
AHEAD = timedelta(days=3 * 365)
SHARE_AHEAD = 0.2


@dataclass(frozen=True)
class Drawn:
    """What the chart shows, counted from `start`: history, forecast, and the interval where there is one."""

    start: date
    from_service: bool
    days: list[date]
    operations: list[float]
    ahead: list[date]
    low: list[float]
    middle: list[float]
    high: list[float]
    limit: float | None


def count_lines(subject: Subject, lead: Due | None, width: int, ascii_only: bool) -> list[Line]:
    """The rate in words, then the chart with a line that says how to read it."""
    story = subject.story
    if story is None:
        return [Line("No usable reading.")]
    lines = [Line(sentence(words)) for words in story.rate_words]
    drawn = drawn_from(story, lead, subject.as_of)
    chart = count_chart(
        drawn.days,
        drawn.operations,
        as_of=subject.as_of,
        forecast_days=drawn.ahead,
        low=drawn.low,
        middle=drawn.middle,
        high=drawn.high,
        limit=drawn.limit,
        limit_name=f"{'interval used up at' if lead and lead.weighted else 'interval'} {count_words(drawn.limit)}",
        width=width,
        ascii_only=ascii_only,
    )
    if not chart:
        return lines or [Line("No usable reading.")]
    since = f"since the service of {drawn.start}" if drawn.from_service else f"since {drawn.start}"
    legend = f"Operations{story.of_drive} {since}, then the forecast with its 8-in-10 range."
    return [*lines, Line(bands_words(story.past_errors, story.own_settings)), Line(""), Line(legend), *fixed(chart)]


def bands_words(past_errors: int, own_settings: str = "") -> str:
    """What the 10 to 90 % bands rest on: the fleet's own past forecasts, or shipped values alone where it has none.

    own_settings : see CountStory
    """
    if not past_errors:
        words = (
            "The bands rest on shipped values: this fleet has too little history to tell from how past forecasts fared."
        )
    else:
        words = (
            f"The bands are scaled by this fleet's own past errors ({past_errors:,} forecasts) together with shipped "
            f"values, which count as much as {FLEET_PLACES:.0f} places."
        )
    return f"{words} {own_settings}".rstrip()


def drawn_from(story: CountStory, lead: Due | None, as_of: date) -> Drawn:
    """History and forecast counted from the last service, where it is known and counted, else from the beginning.

    The count is drawn plain; where a rule weighs operations, its interval stands where it is used up on the counter.
    """
    days, operations = _days(story.points["on"]), _floats(story.points["operations"])
    ahead = _days(story.forecast["on"])
    low, middle, high = (_floats(story.forecast[name]) for name in ("low", "mid", "high"))
    start, base, limit, from_service = min([*days, as_of]), 0.0, None, False
    made, used_up = _counted(lead)
    if lead is not None and lead.last_service_on is not None and made is not None:
        start, from_service = lead.last_service_on, True
        now = middle[0] if middle else operations[-1] if operations else made
        base = now - made
        limit = used_up
        since = [i for i, day in enumerate(days) if day > start]
        operations = [base, *(max(operations[i], base) for i in since)]
        days = [start, *(days[i] for i in since)]
    end = lead.late + PAST_LATE if lead is not None and lead.late is not None else as_of + AHEAD
    end = max(end, as_of + (as_of - start) * SHARE_AHEAD)
    shown = [i for i, day in enumerate(ahead) if day <= end]
    return Drawn(
        start=start,
        from_service=from_service,
        days=days,
        operations=[value - base for value in operations],
        ahead=[ahead[i] for i in shown],
        low=[low[i] - base for i in shown],
        middle=[middle[i] - base for i in shown],
        high=[high[i] - base for i in shown],
        limit=limit,
    )


def _counted(lead: Due | None) -> tuple[float | None, float | None]:
    """Operations since the last service as the counter shows them, and how many of these use the interval up."""
    if lead is None:
        return None, None
    if lead.weighted is not None:
        return lead.weighted.plain_since, lead.weighted.plain_limit
    return lead.operations_since, float(lead.interval_operations) if lead.interval_operations is not None else None


def reading_lines(subject: Subject, full: bool) -> list[Line]:
    """The latest readings, newest first, doubtful ones marked with the reason."""
    story = subject.story
    if story is None or story.readings.empty:
        return [Line("None is recorded.")]
    readings = newest(story.readings, "read_on", None if full else READINGS_SHOWN)
    sources = {str(reading["source"]) for reading in readings}
    beside = (["drive"] if story.drive else []) + (["source"] if sources != {"mechanical"} else [])
    rows = []
    for reading in readings:
        row = [str(day_of(reading["read_on"])), f"{int(reading['value']):,}", *(str(reading[name]) for name in beside)]
        rows.append([*row, _note(str(reading["status"]), str(reading["reason"]), float(reading["probability"]))])
    headings = ["read", "counter", *beside, ""]
    lines = table(headings, rows, right=(1,))
    more = len(story.readings) - len(readings)
    doubtful = int((story.readings["status"] == "doubtful").sum())
    if more:
        lines.append(Line(f"and {more} older, {doubtful} doubtful in all; --all shows them"))
    return lines


def _note(status: str, reason: str, probability: float) -> str:
    """What is to be said about a reading; nothing about most of them."""
    said = [] if status == "used" else [status]
    said += [reason] if reason else []
    if status == "used" and probability < 0.9:
        said.append(f"right as understood: {chance_words(probability)}")
    return ": ".join(said)


def _days(column: pd.Series) -> list[date]:
    return [stamp.date() for stamp in column]


def _floats(column: pd.Series) -> list[float]:
    return [float(value) for value in column]
