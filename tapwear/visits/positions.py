"""Positions of a tap changer in the unit's own way of writing them, put in order.

    16L-N-16R    sixteen lower, neutral, sixteen raise; the change-over selector moves at N
    1-33         plain numbers; nothing is said of a change-over selector, so none is supposed (linear types have none)
    1-17-33      plain numbers with the middle named: the change-over selector moves there
    1-9abc-17    three middle positions 9a, 9b, 9c of one voltage, between 8 and 10

A number for a position orders positions and nothing else: differences between them mean nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tapwear.visits.specs import Unfit

NEUTRAL = "N"
LETTERS = "abcd"
_SIDE = re.compile(r"([0-9]{1,2})\s*([LR])|([LR])\s*([0-9]{1,2})", re.IGNORECASE)
_PLAIN = re.compile(rf"([0-9]{{1,2}})([{LETTERS}])?", re.IGNORECASE)
_STYLE = "write it like 16L-N-16R, 1-33, 1-17-33 or 1-9abc-17"


@dataclass(frozen=True)
class Positions:
    """Which positions a unit has, as numbers that order them.

    change_over : from where to where its change-over (reversing) selector moves; None: not known to have one
    neutral : the number of N where the positions are plain numbers, else 0
    sides : positions are written with L and R
    """

    lowest: float
    highest: float
    change_over: tuple[float, float] | None
    sides: bool
    neutral: float = 0.0
    between: tuple[float, ...] = ()  # lettered positions, e.g. 9a, 9b, 9c


def positions_of(style: str) -> Positions | None:
    """The positions that a style names, see the top of this module; None for a blank style. Raises Unfit."""
    text = style.strip()
    if not text:
        return None
    parts = [part.strip() for part in re.split(r"\s*(?:-|–|\.\.)\s*", text)]
    if len(parts) not in (2, 3) or not all(parts):
        raise Unfit(f"{style!r} is no range of positions", _STYLE)
    try:
        lowest, highest = (_number(part) for part in (parts[0], parts[-1]))
        sides = bool(_SIDE.fullmatch(parts[0]))
        if sides != bool(_SIDE.fullmatch(parts[-1])):
            raise Unfit("one end with L or R, the other without", _STYLE)
        middle = _middle(parts[1], lowest, highest) if len(parts) == 3 else (0.0,) if sides else ()
    except Unfit as unfit:
        raise Unfit(f"{style!r} is no range of positions: {unfit.found}", _STYLE) from None
    if not all(lowest < one < highest for one in middle) or lowest >= highest:
        raise Unfit(f"{style!r} runs from {parts[0]} to {parts[-1]}, not upwards", _STYLE)
    change_over = (middle[0], middle[-1]) if middle else None
    between = middle if len(middle) > 1 else ()
    return Positions(lowest, highest, change_over, sides, middle[0] if len(middle) == 1 else 0.0, between)


def all_positions(positions: Positions | None) -> tuple[str, ...]:
    """Every position as it is written, in order; none where the register does not say which there are."""
    if positions is None:
        return ()
    lettered = {int(one) for one in positions.between}
    found: list[tuple[float, str]] = []
    for whole in range(int(positions.lowest), int(positions.highest) + 1):
        if whole in lettered:
            mine = [one for one in positions.between if int(one) == whole]
            found += [(one, f"{whole}{LETTERS[round((one - whole) * 10) - 1]}") for one in mine]
        elif positions.sides:
            found.append((whole, NEUTRAL if whole == 0 else f"{abs(whole)}{'L' if whole < 0 else 'R'}"))
        else:
            found.append((whole, str(whole)))
    return tuple(text for _, text in sorted(found))


def position_number(text: str, positions: Positions | str | None = None) -> float:
    """The position as a number that orders it: L below N, N at 0, R above; 9a, 9b, 9c between 9 and 10.

    positions : the unit's, or their style in words; None or "": any way of writing is taken.
    Raises Unfit for what is no position, or none of this unit's.
    """
    known = positions_of(positions) if isinstance(positions, str) else positions
    number = _number(text)
    if known is None:
        return number
    plain = _PLAIN.fullmatch(text.strip())
    if text.strip().upper() == NEUTRAL or (known.sides and number == 0):
        if known.between or known.change_over is None:
            raise Unfit(f"{text!r}: this unit has no position N", _has(known))
        return known.neutral
    lettered = bool(plain and plain[2])
    if (plain is None) != known.sides or lettered != (number in known.between) or _hidden(number, known):
        raise Unfit(f"{text!r} is not how this unit's positions are written", _has(known))
    if not known.lowest <= number <= known.highest:
        raise Unfit(f"{text!r} lies outside this unit's positions", _has(known))
    return number


def position_words(text: str, positions: Positions | str | None = None) -> str:
    """The position in one spelling: `5L`, `N`, `17`, `9b`. Raises Unfit as position_number does."""
    position_number(text, positions)
    plain = text.strip()
    known = positions_of(positions) if isinstance(positions, str) else positions
    if plain.upper() == NEUTRAL or (known is not None and known.sides and position_number(plain, known) == 0):
        return NEUTRAL
    side = _SIDE.fullmatch(plain)
    if side:
        return f"{int(side[1] or side[4])}{(side[2] or side[3]).upper()}"
    match = _PLAIN.fullmatch(plain)
    assert match is not None  # noqa: S101 - position_number has taken it
    return f"{int(match[1])}{(match[2] or '').lower()}"


def _number(text: str) -> float:
    plain = text.strip()
    if plain.upper() == NEUTRAL:
        return 0.0
    side = _SIDE.fullmatch(plain)
    if side:
        steps = int(side[1] or side[4])
        if steps:
            return -float(steps) if (side[2] or side[3]).upper() == "L" else float(steps)
    match = _PLAIN.fullmatch(plain)
    if match is None:
        raise Unfit(f"{text!r} is no position", "write it as on the indicator, e.g. 5L, N, 17 or 9b")
    return int(match[1]) + (LETTERS.index(match[2].lower()) + 1) / 10 if match[2] else float(match[1])


def _middle(text: str, lowest: float, highest: float) -> tuple[float, ...]:
    """The middle positions as a style names them: `N`, `17`, `9abc` or `9a/9b/9c`."""
    if text.upper() == NEUTRAL:
        return (0.0,) if lowest < 0 else ((lowest + highest) / 2,)
    several = re.fullmatch(rf"([0-9]{{1,2}})([{LETTERS}]{{2,}})", text, re.IGNORECASE)
    parts = [several[1] + letter for letter in several[2]] if several else text.split("/")
    numbers = tuple(_number(part) for part in parts)
    if list(numbers) != sorted(set(numbers)):
        raise Unfit(f"{text!r} is not in order", _STYLE)
    return numbers


def _hidden(number: float, known: Positions) -> bool:
    """Whether it is the plain number of lettered positions: 9 where there are 9a, 9b and 9c."""
    return number == int(number) and any(int(one) == number for one in known.between)


def _has(known: Positions) -> str:
    ends = [f"{abs(one):g}{('L' if one < 0 else 'R') if known.sides else ''}" for one in (known.lowest, known.highest)]
    return f"read the indicator again; the register has {' to '.join(ends)} (tapwear unit change --positions)"
