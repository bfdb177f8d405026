"""What one visit saw that alarms: told on the spot, to be called in at once. Light, for whoever types or imports it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapwear.outlook.noticed import Noticed

# Heat that does not come from outside: a compartment so much warmer than its tank. Our choice.
HOT_K = 10.0
LEAVE = "Leave the cabinet, do not operate it, keep others away, call the responsible engineer now."
CALL_TODAY = "Do not operate it until the responsible engineer has decided; call today."
STAYS = "Ask the responsible engineer today whether it may stay in service."
NO_OIL = "Do not draw oil from a low compartment."


@dataclass(frozen=True)
class Alarm:
    """What was found, and what to do at once."""

    words: str
    action: str
    of_bank: bool = False  # another unit of the bank is stopped

    @property
    def sentence(self) -> str:
        return f"{self.words}. {self.action}"


def low_oil(seen: str) -> Alarm:
    """seen : ", seen 2026-06-26"; "" for whoever stands before it now"""
    return Alarm(f"Oil level low{seen}", f"{CALL_TODAY if seen else LEAVE} {NO_OIL}")


def unusual_noise(seen: str) -> Alarm:
    """seen : as for `low_oil`"""
    return Alarm(f"Unusual noise{seen}", CALL_TODAY if seen else LEAVE)


def hot_compartment(more_k: float, seen: str) -> Alarm:
    """more_k : by how much it is hotter than the main tank [K]"""
    return Alarm(f"Compartment {more_k:.3g} K hotter than the main tank{seen}", CALL_TODAY if seen else LEAVE)


def seen_alarms(noticed: Sequence[Noticed]) -> list[Alarm]:
    """What one visit to one unit saw that is told on the spot. noticed : its observations"""
    said = {(row.quantity, row.words) for row in noticed}
    more = hotter_by(noticed)
    found = [low_oil("")] if ("oil_level", "low") in said else []
    found += [unusual_noise("")] if ("noise", "unusual") in said else []
    return found + ([hot_compartment(more, "")] if more is not None and more >= HOT_K else [])


def severe_signs(noticed: Iterable[Noticed]) -> list[tuple[str, date, str]]:
    """What visits saw that stops a unit: unit, day and words. Unusual noise together with low oil or with a hot
    compartment, on one day. Tapwear's own rule."""
    seen: dict[tuple[str, date], list[Noticed]] = {}
    for row in noticed:
        seen.setdefault((row.unit, row.observed_on), []).append(row)
    found = []
    for (unit, on), rows in seen.items():
        alarms = seen_alarms(rows)
        noise = [one for one in alarms if one.words == unusual_noise("").words]
        others = [one.words[:1].lower() + one.words[1:] for one in alarms if one not in noise]
        if noise and others:
            found.append((unit, on, f"Visit of {on}: unusual noise, and {' and '.join(others)}."))
    return found


def hotter_by(rows: Iterable[Noticed]) -> float | None:
    """By how much the hottest compartment is warmer than the main tank in observations of one day [K]; None: not
    known."""
    walls: dict[str, dict[str, float]] = {}
    for row in rows:
        if row.quantity in ("compartment_temp_c", "main_tank_temp_c") and row.value is not None:
            walls.setdefault(row.compartment, {})[row.quantity] = row.value
    apart = [t["compartment_temp_c"] - t["main_tank_temp_c"] for t in walls.values() if len(t) == 2]
    return max(apart, default=None)
