"""A report as one HTML file that needs nothing beside it, reads on a telephone and prints on A4 and Letter."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from tapwear.outlook.types import Due
from tapwear.report.charts_svg import bars_svg
from tapwear.report.due_words import (
    day_words,
    driver_words,
    next_words,
    operations_words,
    place_words,
    remark_words,
    sentence,
)
from tapwear.report.pages_choice import Paper
from tapwear.report.pages_fleet import DRIVERS, Fleet, by_period, by_quarter, summary
from tapwear.report.pages_parts import UnitPage
from tapwear.report.pages_rests import rests_on
from tapwear.report.pages_unit import DATE_WORDS, unit_page
from tapwear.report.plain import plain
from tapwear.report.stories import Subject
from tapwear.report.templating import house
from tapwear.words import CAUTION_SHORT, CAUTIONS, stop_notice


def pages_html(
    fleet: Fleet, tags: list[str], subjects: Iterable[Subject], paper: Paper, done: Callable[[int], None]
) -> str:
    """The whole file.

    tags : units that get a page, in order; subjects : one for each of these, taken one by one
    done : told after each page, so that a person can be shown how far it is
    Everything in it is escaped. Raises MissingExtra without jinja2 or matplotlib.
    """
    page_maker = house("The HTML report")
    from markupsafe import Markup

    # Only drawings are markup already; whatever of the store stands in them was escaped when they were made.
    page_maker.filters["drawing"] = lambda svg: Markup(svg)  # noqa: S704
    links = {tag: f"unit-{i}" for i, tag in enumerate(tags, start=1)}
    coming = fleet.coming().dues
    listed = {due.unit for due in coming}
    labels, counts = by_quarter(fleet)
    quarters = bars_svg(
        labels,
        counts,
        key="q",
        title="Overhauls by quarter of their early date",
        about=", ".join(f"{plain(label)}: {count}" for label, count in zip(labels, counts, strict=True)),
    )
    severe = fleet.severe()
    coming_rows = [_row(due) for due in coming]
    later_rows = [_row(due) for due in fleet.leads() if due.unit not in listed]
    page = page_maker.get_template("report.html").render(
        paper=paper.value,
        as_of=fleet.as_of.isoformat(),
        until=fleet.until.isoformat(),
        title=_title(fleet),
        summary=summary(fleet),
        periods=by_period(fleet),
        drivers=list(DRIVERS.values()),
        quarters=quarters if any(counts) else None,
        coming=coming_rows,
        later=later_rows,
        stopped=any(row["stop"] for row in (*coming_rows, *later_rows)),
        rests=rests_on(fleet),
        severe=severe,
        severe_words=stop_notice(*severe),
        date_words=DATE_WORDS,
        caution_short=CAUTION_SHORT,
        cautions=CAUTIONS,
        links=links,
        pages=_pages(fleet, subjects, done),
    )
    return f"{page}\n"


def _title(fleet: Fleet) -> str:
    """The report's title and the name of its page in a browser: a stopped unit is not named without its stop."""
    if not fleet.asked:
        return "Tap changers: when each must be opened"
    stop = "STOP. " if set(fleet.asked) & set(fleet.severe()) else ""
    return f"{stop}Tap changers: {', '.join(fleet.asked[:3])}" + (" and others" if len(fleet.asked) > 3 else "")


def _row(due: Due) -> dict[str, str]:
    """What a list says about one due."""
    return {
        "stop": due.stop,
        "unit": due.unit,
        "early": day_words(due.early, due),
        "middle": day_words(due.middle, due),
        "late": day_words(due.late, due),
        "place": place_words(due),
        "task": due.task,
        "operations": operations_words(due),
        "driver": driver_words(due),
        "words": remark_words(due),
        "next": sentence(next_words(due)),
    }


def _pages(fleet: Fleet, subjects: Iterable[Subject], done: Callable[[int], None]) -> Iterator[UnitPage]:
    """The units' pages, each made when its turn comes."""
    for i, subject in enumerate(subjects, start=1):
        noted = fleet.conditions.get(subject.unit, ())
        yield unit_page(subject, fleet.oil.get(subject.unit), noted, f"u{i}")
        done(1)
