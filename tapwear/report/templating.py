"""Pages made of templates: one place that makes everything in them text, so that nothing of the store is obeyed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tapwear.errors import MissingExtra
from tapwear.report.plain import plain

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"


def house(purpose: str) -> Environment:
    """The environment for our templates: always escaping, free of control characters, and no forgotten field passes
    for blank. `purpose` says what is being made, such as "The HTML report". Raises MissingExtra without jinja2."""
    try:
        from jinja2 import Environment, FileSystemLoader, StrictUndefined
        from markupsafe import Markup
    except ImportError:
        raise MissingExtra("jinja2", purpose) from None

    def printable(value: object) -> object:
        return plain(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        finalize=printable,
        loader=FileSystemLoader(TEMPLATES),
        trim_blocks=True,
        lstrip_blocks=True,
    )
