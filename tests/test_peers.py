"""Who speaks for the others: drawn by station, the same whichever part of the fleet is at hand."""

from __future__ import annotations

import pandas as pd
import pytest

from tapwear import peers
from tapwear.peers import PEERS, Roll, Speakers, in_order


def fleet(stations: int = 40, units: int = 4) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "unit": f"S{station}-T{number}",
                "home": f"S{station}",
                "peer_group": f"duty {number % 2}",
                "technology": "vacuum" if station % 2 else "arcing_resistor",
                "breathing": "free",
                "oil_group": f"type {station % 3}",
            }
            for station in range(stations)
            for number in range(units)
        ]
    )


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peers, "OF_A_GROUP", 6)
    monkeypatch.setattr(peers, "OF_THE_FLEET", 12)


def test_the_order_of_lots_is_the_same_on_every_machine_and_keeps_stations_together() -> None:
    order = list(in_order(fleet(5, 2))["unit"])
    assert order == ["S1-T0", "S1-T1", "S0-T0", "S0-T1", "S4-T0", "S4-T1", "S3-T0", "S3-T1", "S2-T0", "S2-T1"]
    assert list(in_order(fleet(5, 2).sample(frac=1.0, random_state=1))["unit"]) == order


@pytest.mark.usefixtures("few")
def test_whoever_speaks_in_the_whole_fleet_speaks_in_every_part_that_holds_the_company() -> None:
    whole = fleet()
    roll = Roll.of(whole)
    speakers = Speakers.of(whole, PEERS)
    for unit in ("S7-T0", "S39-T3"):
        part = whole[whole["unit"].isin(roll.company([unit]))]
        assert unit in set(part["unit"])
        assert len(part) < len(whole) / 3
        assert Speakers.of(part, PEERS) == speakers
        like = list(peers.LIKE_OIL[0])
        alike = set(whole.merge(whole.loc[whole["unit"] == unit, like], on=like)["unit"])
        told = Speakers.of(whole, like).of_groups & alike
        assert told
        assert told == Speakers.of(part, like).of_groups & alike


@pytest.mark.usefixtures("few")
def test_at_most_so_many_speak_for_a_group_and_for_the_fleet() -> None:
    whole = fleet()
    speakers = Speakers.of(whole, PEERS)
    group = whole.set_index("unit")["peer_group"]
    assert group[sorted(speakers.of_groups)].value_counts().to_dict() == {"duty 0": 6, "duty 1": 6}
    assert len(speakers.of_fleet) == 12


def test_a_unit_that_was_at_no_station_draws_a_lot_of_its_own() -> None:
    spares = pd.DataFrame({"unit": [f"SP-{n}" for n in range(50)], "home": "", "peer_group": ""})
    assert list(in_order(spares)["unit"]) != sorted(spares["unit"])
    assert set(in_order(spares)["unit"]) == set(spares["unit"])


def test_a_book_put_together_by_hand_has_stations_instead_of_homes() -> None:
    whole = fleet(5, 2)
    assert list(in_order(whole.rename(columns={"home": "station"}))["unit"]) == list(in_order(whole)["unit"])
