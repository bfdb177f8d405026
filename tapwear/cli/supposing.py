"""`tapwear why UNIT --if ...`: the unit's dates before and after, side by side; nothing is stored."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from tapwear.fleet import Assessment


def show_what_if(assessment: Assessment, unit: str, texts: Sequence[str], *, as_json: bool) -> None:
    """Reads what is supposed, works the dates out anew and shows both. Raises UsageError for what is not understood."""
    from tapwear.fleet import what_if_unit
    from tapwear.outlook.whatif import read_whatif
    from tapwear.report.page import page_plain, print_page
    from tapwear.report.terminal import PAGE_WIDTH, is_screen, make_console, note
    from tapwear.report.whatif_view import whatif_json, whatif_page
    from tapwear.visits.resets import resets_of
    from tapwear.words import CAUTION_SHORT

    supposed = read_whatif(texts, assessment.as_of)
    compared = what_if_unit(assessment, unit, supposed, resets_of("overhaul", None))
    if as_json:
        typer.echo(whatif_json(compared))
        return
    if is_screen(sys.stdout):
        print_page(whatif_page(compared), make_console(widest=PAGE_WIDTH))
    else:
        typer.echo("\n".join(page_plain(whatif_page(compared))))
    note(f"\n{CAUTION_SHORT}")
