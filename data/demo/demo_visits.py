"""What people noted on visits of the invented utility besides the counter, and the positions of the units concerned."""

from __future__ import annotations

from datetime import date
from typing import Any

SIDES, NUMBERS, LETTERED = "16L-N-16R", "1-17-33", "1-9abc-17"
POSITIONS = {"QV-G1": SIDES, "AH-T1": SIDES, "KS-T2": LETTERED, "DL-T2": NUMBERS, "NS-T1": "1-17"}

_KEYS = ("position", "position_low", "position_high", "drag_hands_reset")


def _row(unit: str, on: date, hands: str = "", **seen: Any) -> dict[str, Any]:
    """One visit; hands: position, lowest and highest of the drag hands, and whether they were reset."""
    return {"unit": unit, "observed_on": on, **dict(zip(_KEYS, hands.split(), strict=False)), **seen}


def _level(degrees: int, level: str = "normal") -> dict[str, Any]:
    """An oil level with the oil temperature at which it was read."""
    return {"oil_level": level, "oil_temp_c": degrees}


VISIT_RULES: tuple[dict[str, Any], ...] = (
    {"scheme": "furnace", "read_every_days": 35, "sample_every_days": 120, "provenance": "own choice"},
    {"scheme": "reactor", "sample_every_days": 270, "provenance": "own choice"},
    {"unit": "QV-G1", "read_every_days": 190, "provenance": "own choice: a quiet unit, seen twice a year"},
)
OBSERVATIONS: tuple[dict[str, Any], ...] = (
    # A quiet unit whose reversing selector has stayed on one side of neutral on every visit.
    _row("QV-G1", date(2024, 3, 18), "5R 3R 8R yes", **_level(18), breather="good"),
    _row("QV-G1", date(2025, 3, 13), "4R 2R 7R yes", **_level(16), breather="good"),
    _row("QV-G1", date(2026, 1, 26), "5R 3R 7R yes", **_level(9), breather="good", noise="usual"),
    # All as it should be.
    _row("AH-T1", date(2026, 4, 24), "3L 9L 8R yes", **_level(24), breather="good", seepage="none", heater="working"),
    _row("AH-T1", date(2026, 5, 27), "2R 6L 7R yes", **_level(31), breather="good", seepage="none", heater="working"),
    # A blanket of gas that uses its bottle up faster and faster.
    _row("LM-T3", date(2025, 3, 13), gas_bottle_kpa=9_800, pressure_kpa=12),
    _row("LM-T3", date(2025, 6, 16), gas_bottle_kpa=9_400, pressure_kpa=12),
    _row("LM-T3", date(2025, 9, 1), gas_bottle_kpa=9_050, pressure_kpa=13),
    _row("LM-T3", date(2025, 12, 15), gas_bottle_kpa=7_700, pressure_kpa=11),
    _row("LM-T3", date(2026, 3, 23), gas_bottle_kpa=5_600, pressure_kpa=11),
    # Seepage and a breather, seen twice; the level falls with it.
    _row("DL-T2", date(2025, 10, 17), "15 11 20 yes", **_level(21), breather="to be renewed", seepage="none"),
    _row("DL-T2", date(2026, 1, 23), "16 12 21 yes", **_level(8), breather="to be renewed", seepage="drain valve"),
    _row("DL-T2", date(2026, 4, 14), "17 10 22 yes", **_level(19, "low"), breather="good", seepage="drain valve"),
    # A compartment hotter than its main tank.
    _row("KS-T2", date(2026, 5, 4), "9b 7 11 yes", compartment_temp_c=34, main_tank_temp_c=36),
    _row("KS-T2", date(2026, 6, 1), "9a 6 10 yes", compartment_temp_c=43, main_tank_temp_c=39),
    _row("KS-T2", date(2026, 6, 25), "8 6 11 yes", compartment_temp_c=47, main_tank_temp_c=41),
    # A heater that was found cold, and works again.
    _row("GD-T3", date(2025, 8, 4), heater="faulty", coating="damaged", remark="rust at the cabinet's lower hinge"),
    _row("GD-T3", date(2026, 3, 2), heater="working", noise="usual"),
)
HEADINGS = (
    "unit observed_on position position_low position_high drag_hands_reset oil_level oil_temp_c compartment_temp_c "
    "main_tank_temp_c pressure_kpa gas_bottle_kpa breather seepage heater noise coating remark"
)
