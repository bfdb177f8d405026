"""A round sheet as one HTML file: a form to fill in on a phone without a network, and a paper form when printed."""

from __future__ import annotations

import base64
import hashlib
import json

from tapwear.report.pages_choice import Paper
from tapwear.report.sheet_data import RoundSheet, page_data, range_words
from tapwear.report.templating import TEMPLATES, house
from tapwear.words import CAUTION_SHORT, NEAR_LIVE_PLANT, NEGATIVE_PRESSURE, stop_notice


def sheet_html(sheet: RoundSheet, paper: Paper = Paper.A4) -> str:
    """The whole file. It loads nothing, and its own rule (content security policy) forbids it to.

    Everything of the store in it is escaped. Raises MissingExtra without jinja2.
    """
    page_maker = house("The round sheet")
    from markupsafe import Markup

    style, script = _own("sheet.css"), _own("judge.js") + _own("sheet.js")
    style = f"@page {{ size: {paper.value} landscape; margin: 9mm 9mm 11mm; }}\n{style}"
    page = page_maker.get_template("sheet.html").render(
        sheet=sheet,
        numbered=list(enumerate(sheet.units)),
        number={unit.unit: at for at, unit in enumerate(sheet.units)},
        fields={field.name: field for field in sheet.fields},
        main=[field for field in sheet.fields if not field.more],
        more=[field for field in sheet.fields if field.more],
        ranges=range_words,
        style=Markup(style),  # noqa: S704 - our own files, nothing of the store
        script=Markup(script),  # noqa: S704
        data=Markup(_inside_script(page_data(sheet))),  # noqa: S704 - made safe just there
        policy=f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'",
        severe_words=stop_notice(),
        caution_short=CAUTION_SHORT,
        near_live=NEAR_LIVE_PLANT,
        negative_pressure=NEGATIVE_PRESSURE,
    )
    return f"{page}\n"


def _own(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _inside_script(content: object) -> str:
    """JSON that no text in it can end early or turn into markup, wherever in a page it stands."""
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
