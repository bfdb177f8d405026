"""The units that must be read to say of some what the whole fleet would, from a file and from a server."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from sqlmodel import Session

from tapwear import peers
from tapwear.store import roll
from tapwear.store.company import all_tags, company_of, station_codes, stood_at
from tapwear.store.engine import Store, open_at
from tapwear.store.models import Place, Station, Stay, TapChanger

AT = datetime(2026, 6, 30, tzinfo=UTC)


@pytest.fixture
def store(empty_store: Store, monkeypatch: pytest.MonkeyPatch) -> Store:
    """Thirty stations of two units, a spare that was never at a station, a unit that moved, and a group of two."""
    monkeypatch.setattr(peers, "OF_A_GROUP", 2)
    monkeypatch.setattr(peers, "OF_THE_FLEET", 4)
    monkeypatch.setattr(roll, "HOMES", 3)
    with empty_store.unit_of_work() as session:
        for number in range(30):
            session.add(Station(id=number + 1, code=f"S{number:02d}", region="R"))
            session.flush()
            for which in (0, 1):
                key = 2 * number + which + 1
                session.add(Place(id=key, station_id=number + 1, bank=f"T{which}"))
                add_unit(session, key, f"S{number:02d}-T{which}", f"duty {which}", "rare" if number == 29 else "usual")
                add_stay(session, key, key)
        add_unit(session, 61, "SP-01", "duty 0", "usual")
        add_stay(session, 61, None)
        add_stay(session, 5, 41, date(2024, 5, 1))  # S02-T0 went to S20
    return empty_store


def add_unit(session: Session, key: int, tag: str, duty: str, oil_group: str) -> None:
    session.add(TapChanger(id=key, tag=tag, peer_group=duty, oil_group=oil_group, technology="vacuum"))
    session.flush()


def add_stay(session: Session, unit: int, place: int | None, since: date | None = None) -> None:
    state = "in service" if place else "spare"
    uid = f"stay {unit} {place}"
    stamp = {"recorded_at": AT, "recorded_by": "test"}
    session.add(Stay(uid=uid, tap_changer_id=unit, place_id=place, state=state, from_on=since, **stamp))


def test_the_company_is_the_same_from_as_much_of_the_roll_as_is_needed(store: Store) -> None:
    with store.rows() as connection:
        whole = roll.roll_of(connection)
        assert len(whole.unit) == len(all_tags(connection)) == 61
        for unit in ("S07-T0", "SP-01", "S29-T1", "S02-T0"):
            near = roll.near_roll(connection, [unit])
            assert sorted(near.company([unit])) == sorted(whole.company([unit])), unit
            assert len(near.unit) < 61, unit


def test_whole_stations_are_read_and_whoever_came_to_one_later(store: Store) -> None:
    with store.rows() as connection:
        company = company_of(connection, ["S20-T1"])
        assert {"S20-T0", "S20-T1", "S02-T0"} <= set(company)  # S02-T0 moved there
        assert "S02-T1" not in company  # a neighbour's old neighbour tells nothing
        assert len(company) < 25
        homes = {tag.split("-")[0] for tag in company} - {"S02", "SP"}
        assert {f"{home}-T{which}" for home in homes for which in (0, 1)} <= set(company)


def test_a_rare_group_is_there_whole(store: Store) -> None:
    with store.rows() as connection:
        assert {"S29-T0", "S29-T1"} <= set(company_of(connection, ["S29-T0"]))


def test_many_rare_groups_are_found_in_the_whole_roll(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peers, "OF_A_GROUP", 50)
    monkeypatch.setattr(roll, "MANY_GROUPS", 0)
    with store.rows() as connection:
        assert len(roll.near_roll(connection, ["S07-T0"]).unit) == 61


def test_another_process_finds_the_store_by_its_address(store: Store) -> None:
    again = open_at(store.address)
    assert again.on_server == store.on_server
    with again.rows() as connection:
        assert len(all_tags(connection)) == 61


def test_whoever_ever_stood_at_a_station_is_found_by_its_code_in_any_capitals(store: Store) -> None:
    with store.rows() as connection:
        assert len(station_codes(connection)) == 30
        assert stood_at(connection, ["s02"]) == ["S02-T0", "S02-T1"]
        assert stood_at(connection, ["S20", "S29"]) == ["S02-T0", "S20-T0", "S20-T1", "S29-T0", "S29-T1"]
        assert stood_at(connection, ["S99"]) == []
