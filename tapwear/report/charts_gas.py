"""A terminal chart of gases of one compartment over time, with what happened to its oil between the samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from tapwear.report.charts_terminal import empty_field, framed

# Signs as (drawn, in letters): the first gas, the second, each above and below its detection limit; upright lines.
MARKS = ((("●", "a"), ("○", "o")), (("◆", "e"), ("◇", "u")))
RENEWED, OTHER_LABORATORY = ("│", "|"), ("┊", ":")
SAME_SCALE = 12.0  # two gases share a chart unless one is this many times the other; our choice


@dataclass(frozen=True)
class GasLine:
    """One gas of one compartment: per sample its day, value [µL/L] and whether that is the detection limit."""

    name: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    below: tuple[bool, ...]

    @property
    def top(self) -> float:
        return max(self.values, default=0.0)


def share_a_scale(one: GasLine, other: GasLine) -> bool:
    """Whether two gases can be read off one chart."""
    high, low = max(one.top, other.top), min(one.top, other.top)
    return low > 0 and high <= SAME_SCALE * low


def gas_chart(
    lines: Sequence[GasLine],
    *,
    as_of: date,
    renewed: Sequence[date] = (),
    laboratory_changed: Sequence[date] = (),
    limits: Sequence[tuple[float, str]] = (),
    width: int = 76,
    height: int = 9,
    ascii_only: bool = False,
) -> list[str]:
    """One or two gases over time and a line that explains the signs, as lines of text at most `width` wide.

    renewed : days on which the oil started again; no line joins samples across them
    laboratory_changed : days from which another laboratory reports
    limits : heights [µL/L] with a name each, drawn as rows of dashes
    No lines when there is nothing to draw: less than two days, or no value above zero.
    """
    shown = [line for line in lines if line.top > 0]
    sampled = [day for line in shown for day in line.days]
    if not sampled:
        return []
    first = min(sampled)
    renewals = sorted({day for day in renewed if first <= day <= as_of})
    changes = sorted({day for day in laboratory_changed if first <= day <= as_of})
    every_day = [*sampled, *renewals, as_of]
    if min(every_day) == max(every_day):
        return []
    sign = 1 if ascii_only else 0
    top = max([line.top for line in shown] + [height_of for height_of, _ in limits])
    canvas, axis = empty_field(every_day, (0.0, top), width, height)
    for line in shown:
        for start, end in pairwise([date.min, *renewals, date.max]):
            part = [(day, value) for day, value in zip(line.days, line.values, strict=True) if start < day <= end]
            canvas.line([day.toordinal() for day, _ in part], [value for _, value in part], every=2)
    for day in renewals:
        canvas.upright(day.toordinal(), RENEWED[sign])
    for day in changes:
        canvas.upright(day.toordinal(), OTHER_LABORATORY[sign])
    for limit, name in limits:
        canvas.across(limit, "-" if ascii_only else "─", name)
    for (above, under), line in reversed(list(zip(MARKS, shown, strict=False))):
        for day, value, below in zip(line.days, line.values, line.below, strict=True):
            canvas.letter(day.toordinal(), value, (under if below else above)[sign])
    legend = []
    for (above, under), line in zip(MARKS, shown, strict=False):
        legend.append(f"{above[sign]} {line.name}")
        legend += [f"{under[sign]} below limit"] if any(line.below) else []
    legend += [f"{RENEWED[sign]} oil renewed"] if renewals else []
    legend += [f"{OTHER_LABORATORY[sign]} other laboratory"] if changes else []
    return [*framed(canvas, axis, every_day, as_of, ascii_only), "   ".join(legend)]
