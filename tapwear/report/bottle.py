"""The text on the label of a sample bottle, between two cutting lines."""

from __future__ import annotations

from collections.abc import Sequence

LABEL_WIDTH = 64
COMPARTMENT = "tap-changer compartment"


def label_text(
    unit: str,
    serial: str,
    taken_from: str,
    where: str,
    *,
    on: str = "____-__-__",
    oil_temperature: str = "______ °C",
    counter: str = "____________",
    by: str = "____________________",
    bottle: str = "",
) -> list[str]:
    """The lines of a label; what is not known yet stays a line to fill in."""
    return [
        f"unit     {unit}",
        f"serial   {serial or '________________ (read the nameplate)'}",
        f"from     {taken_from}",
        f"station  {where}",
        f"date     {on}     oil temperature {oil_temperature}",
        f"bottle   {bottle or '________________'}",
        f"counter  {counter}   taken by {by}",
    ]


def boxed(label: Sequence[str]) -> list[str]:
    """The label between two cutting lines."""
    rule = "- " * (LABEL_WIDTH // 2)
    return [f"  {rule}".rstrip(), *(f"  {line}" for line in label), f"  {rule}".rstrip()]
