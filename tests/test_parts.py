"""A part of the fleet tells the same of its units as the whole: unit by unit, and block by block."""

from __future__ import annotations

import os
import re

import pytest
from test_stories import AS_OF, bring_in

from tapwear import blocks, peers
from tapwear.errors import TapwearError
from tapwear.fleet import Assessment, assess_store, assess_units
from tapwear.oil.types import OilVerdict
from tapwear.outlook.types import Due
from tapwear.store import roll
from tapwear.store.company import all_tags, company_of
from tapwear.store.engine import Store, create_store

NUMBER = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
# of the demo's units: spares, exchanged and moved ones, several drives, sealed and vacuum ones
SOME = ("SP-05", "WS-02", "IR-T1B", "KS-T2", "BRK-T1", "MF-T3", "NS-T1")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    made = create_store(tmp_path_factory.mktemp("demo") / "demo.db")
    bring_in(made)
    return made


def same(one: object, other: object) -> bool:
    """Whether two results read the same; numbers that are no whole ones may differ in the last places."""
    texts = str(one), str(other)
    numbers = [[float(number) for number in NUMBER.findall(text)] for text in texts]
    return NUMBER.sub("N", texts[0]) == NUMBER.sub("N", texts[1]) and numbers[0] == pytest.approx(numbers[1], rel=1e-7)


def told(found: Assessment | blocks.Dates, unit: str) -> tuple[tuple[Due, ...], OilVerdict]:
    return found.outlook.of_unit(unit), found.verdicts[unit]


def test_one_unit_by_itself_is_told_the_same_as_in_the_whole_fleet(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(peers, "OF_A_GROUP", 3)
    monkeypatch.setattr(peers, "OF_THE_FLEET", 8)
    whole = assess_store(store, AS_OF)
    tags = set(whole.book.units["unit"])
    for unit in tags & set(SOME):
        alone = assess_units(store, [unit], AS_OF)
        assert len(alone.book.units) < len(tags) / 2
        assert set(alone.verdicts) == {due.unit for due in alone.outlook.dues} == {unit}
        assert same(told(alone, unit), told(whole, unit)), unit


def test_as_much_of_the_roll_as_is_needed_tells_the_company_that_the_whole_roll_tells(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(peers, "OF_A_GROUP", 3)
    monkeypatch.setattr(peers, "OF_THE_FLEET", 8)
    monkeypatch.setattr(roll, "HOMES", 2)
    monkeypatch.setattr(roll, "MANY_GROUPS", 100)
    with store.rows() as connection:
        whole = roll.roll_of(connection)
        for unit in all_tags(connection):
            near = roll.near_roll(connection, [unit])
            assert unit in company_of(connection, [unit])
            assert len(near.unit) < len(whole.unit)
            assert sorted(near.company([unit])) == sorted(whole.company([unit])), unit


def test_what_like_units_say_bears_on_a_unit(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peers, "OF_A_GROUP", 1)
    monkeypatch.setattr(peers, "OF_THE_FLEET", 1)
    lonely = assess_store(store, AS_OF)
    monkeypatch.undo()
    whole = assess_store(store, AS_OF)
    assert not all(same(told(lonely, unit), told(whole, unit)) for unit in whole.verdicts)


def test_block_by_block_the_fleet_is_the_same_as_at_one_go(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = assess_store(store, AS_OF)
    monkeypatch.setattr(blocks, "WORTH_SPLITTING", 32)
    monkeypatch.setattr(blocks, "UNITS_A_BLOCK", 20)
    through: list[int] = []
    parts = blocks.fleet_dates(store, AS_OF, through.append)
    assert len(through) > 1
    assert sum(through) == len(whole.verdicts)
    assert [(due.unit, due.task) for due in parts.outlook.dues] == [(due.unit, due.task) for due in whole.outlook.dues]
    assert same(parts.outlook, whole.outlook)
    assert all(same(parts.verdicts[unit], verdict) for unit, verdict in whole.verdicts.items())


def die(*_given: object) -> None:
    os._exit(9)


def test_a_process_that_is_lost_is_told_in_words(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(blocks, "WORTH_SPLITTING", 32)
    monkeypatch.setattr(blocks, "_block", die)
    with pytest.raises(TapwearError, match=r"no memory left for it\. Nothing was changed"):
        blocks.fleet_dates(store, AS_OF)


def test_a_small_fleet_is_read_at_one_go(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(blocks, "_blocks", None)
    assert len(blocks.fleet_dates(store, AS_OF).verdicts) > len(SOME)


