"""Contact wear in `tapwear why`, and the decision that follows from it, recorded by a person."""

from __future__ import annotations

import json
from pathlib import Path

from desk_store import make_desk, run


def test_measured_contacts_are_told_and_only_a_recorded_decision_changes_the_interval(tmp_path: Path) -> None:
    # 8.0 mm on 2020-03-02; 6.5 mm after 1,460 days at 20 a day, 29,200 operations: 0.051 mm per 1,000. The 2.5 mm
    # above the limit last 38,600 to 64,000 operations; the interval has 60,000.
    db = make_desk(tmp_path)
    words = ("service", "AH-T1", "--work", "overhaul", "--on", "2024-03-01", "--wear-left-mm", "6.5")
    assert run(db, *words, "--condemning-mm", "4").exit_code == 0
    page = run(db, "why", "AH-T1").stdout
    assert "6.5 mm left on 2024-03-01, limit 4 mm." in page
    assert "Wear about 0.051 mm per 1,000 operations" in page
    assert "The interval of 60,000 operations may be long for this unit" in page
    told = json.loads(run(db, "why", "AH-T1", "--json").stdout)
    assert told["wear"]["verdict"] == "perhaps long"
    assert told["dues"][0]["interval_operations"] == 60_000
    change = run(db, "unit", "change", "AH-T1", "--interval-operations", "35000", "--because", "K. Lund: as-found wear")
    assert change.exit_code == 0, change.output
    told = json.loads(run(db, "why", "AH-T1", "--json").stdout)
    assert (told["wear"]["verdict"], told["dues"][0]["interval_operations"]) == ("fits", 35_000)


def test_units_without_measurements_say_nothing_of_wear(tmp_path: Path) -> None:
    db = make_desk(tmp_path)
    assert "Contacts as found" not in run(db, "why", "BW-T1").stdout
    assert json.loads(run(db, "why", "BW-T1", "--json").stdout)["wear"] is None
