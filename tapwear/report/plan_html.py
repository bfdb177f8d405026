"""An outage plan as one HTML file that needs nothing beside it and prints on A4 landscape."""

from __future__ import annotations

from pathlib import Path

from tapwear.errors import MissingExtra
from tapwear.report.plain import plain
from tapwear.report.plan_board import week_board
from tapwear.report.plan_data import PlanView, job_rows
from tapwear.report.plan_words import chance_words, day_words, headline, severe_words
from tapwear.words import CAUTIONS

TEMPLATE = Path(__file__).parent / "templates" / "plan.html"


def plan_html(view: PlanView) -> str:
    """The page; everything in it is escaped. Raises MissingExtra without jinja2."""
    try:
        from jinja2 import Environment, StrictUndefined
    except ImportError:
        raise MissingExtra("jinja2", "The HTML export") from None
    # Always escaping, so that nothing in the store can become markup, and no forgotten field can pass for blank.
    page = Environment(autoescape=True, undefined=StrictUndefined).from_string(TEMPLATE.read_text(encoding="utf-8"))
    rows = job_rows(view.result)
    return page.render(
        name=plain(view.name),
        headline=headline(view),
        recorded_by=plain(view.recorded_by),
        recorded_on=view.recorded_at.date().isoformat(),
        status=view.status,
        cautions=[words for words in (severe_words(rows), *CAUTIONS) if words],
        placed=[row for row in rows if row.start_week],
        not_placed=[row for row in rows if not row.start_week],
        board=week_board(view.result),
        assumptions=[plain(words) for words in view.result.limits.assumptions],
        day=day_words,
        chance=chance_words,
    )
