"""The parts behind the reading of counters, each against a plain calculation."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from clean_frames import events_frame, monthly, readings_frame, stays_frame, steady, units_frame

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.chain import KNOWN, REACH, Chainer, Links
from tapwear.counts.likely import expect, leg, log_density
from tapwear.counts.local import group_levels, local_levels, medians, window_sizes, windows
from tapwear.counts.search import chainer_at, raw_intervals, read_beside, search
from tapwear.counts.series import make_book


def book_of(values: list[int], events=()) -> Book:
    readings = readings_frame(monthly("T1", values))
    return make_book(units_frame(["T1"]), readings, events_frame(events), stays_frame())


def chainer_of(book: Book) -> Chainer:
    spans = raw_intervals(book)
    return chainer_at(book, spans, read_beside(book), group_levels(spans, book.group))


def test_medians_are_those_of_each_counter():
    rng = np.random.default_rng(3)
    counter = np.sort(rng.integers(0, 7, 60))
    counter[counter == 4] = 5
    values = rng.normal(size=60) * 100
    found = medians(counter, values, 8)
    for k in range(8):
        mine = values[counter == k]
        assert found[k] == pytest.approx(np.median(mine)) if len(mine) else np.isnan(found[k])


def test_a_window_takes_the_middle_of_up_to_five_intervals_of_one_counter():
    counter = np.array([0, 0, 0, 0, 0, 0, 1, 1])
    values = np.array([1.0, 9.0, 2.0, 3.0, 4.0, 99.0, 7.0, 8.0])
    n_back, n_ahead = window_sizes(counter)
    back, ahead = windows(values, n_back, n_ahead)
    assert n_back.tolist() == [1, 2, 3, 4, 5, 5, 1, 2]
    assert back.tolist() == pytest.approx([1.0, 5.0, 2.0, 2.5, 3.0, 16 / 3, 7.0, 7.5])
    assert n_ahead.tolist() == [5, 5, 4, 3, 2, 1, 2, 1]
    assert ahead.tolist() == pytest.approx([3.0, 16 / 3, 3.5, 4.0, 51.5, 99.0, 7.5, 8.0])


def test_a_season_in_the_counts_is_learnt():
    book = book_of([0] * 49)
    spans = raw_intervals(book)
    middle = 0.5 * (book.day[spans.left] + book.day[spans.right])
    made = 600.0 * np.exp(0.4 * np.cos(2 * np.pi * middle / 365.25))
    spans = type(spans)(spans.counter, spans.left, spans.right, spans.served, made)
    local = local_levels(book, spans, group_levels(spans, book.group))
    mean = (local.wave[spans.right] - local.wave[spans.left]) / 30.0
    assert np.corrcoef(mean, np.log(made))[0, 1] > 0.99
    assert mean.max() - mean.min() == pytest.approx(0.8, rel=0.15)


def test_the_chances_of_all_numbers_of_operations_add_up_to_one():
    book = book_of(steady(1_000, 100, 10))
    chainer = chainer_of(book)
    left, right = np.array([4]), np.array([5])
    local = chainer.scale.local
    on = leg(book, local, left, right, expect(local, book.counter[right], left, right))
    whole = sum(float(np.exp(log_density(np.array([float(k)]), on))[0]) for k in range(20_000))
    assert whole == pytest.approx(1.0, abs=0.03)  # a density over whole numbers: nearly, not exactly


def test_digit_slips_lead_back_to_the_number_that_was_meant():
    for written, meant, kind in [
        (14_976, 14_796, slips.TRANSPOSED),
        (8_520, 85_720, slips.DROPPED),
        (14_013, 14_018, slips.MISTYPED),
        (4_799, 40_799, slips.TRANSPOSED),
    ]:
        found = slips.digit_slips(np.array([written]), np.array([float(meant)]), 5, slips.IN_BOOK)
        kinds = {int(k) for k, v in zip(found.kind, found.value[:, 0], strict=True) if v == meant}
        assert kind in kinds


def test_digit_slips_never_lead_to_numbers_that_the_counter_cannot_show():
    rng = np.random.default_rng(1)
    written = rng.integers(0, 10_000, 200).astype(float)
    value = slips.digit_slips(written, rng.permutation(written), 4, slips.IN_BOOK).value
    value = value[np.isfinite(value)]
    assert value.min() >= 0
    assert value.max() < 10_000


def score_of(links: Links, step: int, end: int) -> float:
    """Score of the joint of a counter's reading `end` to the one `step` before it; links of one counter."""
    at = int(np.searchsorted(links.rows, end))
    known = at < len(links.rows) and links.rows[at] == end
    if known and step <= at and links.stretch[at - step] == links.stretch[at]:
        return float(links.score[step, at])
    return float(links.first.log_chance[end - 1]) if step == 1 else -np.inf


def end_of(links: Links, reading: int, last: int) -> float:
    """Log chance of leaving out all readings between this one and the first or last one, `last`."""
    at = np.flatnonzero(links.rows == reading)
    if reading == last or not len(at):
        return 0.0 if reading == last else -np.inf
    at, side = int(at[0]), links.trail if last else links.lead
    return float(side[at]) if links.stretch[at] == links.stretch[-1 if last else 0] else -np.inf


@pytest.mark.parametrize("wrong", [(), (3,), (0,), (6,), (2, 3), (0, 5)])
def test_the_best_chain_and_the_probabilities_are_those_of_counting_all_chains(wrong):
    values = steady(20_000, 300, 7)
    for place in wrong:
        values[place] = int(str(values[place])[::-1])
    book = book_of(values)
    chainer = chainer_of(book)
    links = chainer._links(rough=False)
    n = len(values)
    weights = {}
    for size in range(1, n + 1):
        for chain in combinations(range(n), size):
            steps = [b - a for a, b in pairwise(chain)]
            if any(step > REACH for step in steps):
                continue
            joints = sum(score_of(links, s, b) for s, b in zip(steps, chain[1:], strict=True))
            weights[chain] = end_of(links, chain[0], 0) + joints + end_of(links, chain[-1], n - 1)
    top = max(weights.values())
    shares = {chain: np.exp(weight - top) for chain, weight in weights.items()}
    whole = sum(shares.values())
    found = chainer.solve()
    assert tuple(np.flatnonzero(found.used)) == max(shares, key=lambda chain: shares[chain])
    for place in range(n):
        share = sum(s for chain, s in shares.items() if place in chain) / whole
        assert found.probability[place] == pytest.approx(KNOWN * share, abs=1e-9)


def test_many_counters_at_once_are_read_as_each_by_itself():
    rng = np.random.default_rng(5)
    rows = []
    for number in range(12):
        values = steady(int(rng.integers(0, 90_000)), int(rng.integers(50, 900)), int(rng.integers(4, 30)))
        values[2] = int(rng.integers(0, 99_999))
        rows += monthly(f"T{number:02d}", values)
    readings = readings_frame(rows)
    units = units_frame(sorted(set(readings["unit"]))).assign(station=lambda frame: frame["unit"])
    book = make_book(units, readings, events_frame(), stays_frame())
    for _, _, whole in search(book):
        for number in range(12):
            mine = book.counter == number
            alone = readings[readings["unit"] == f"T{number:02d}"].reset_index(drop=True)
            for _, _, one in search(make_book(units, alone, events_frame(), stays_frame())):
                assert one.used.tolist() == whole.used[mine].tolist()
                assert one.operations[one.used] == pytest.approx(whole.operations[mine][one.used])


def test_a_fleet_with_three_in_a_hundred_readings_wrong_is_marked_well():
    rng = np.random.default_rng(11)
    rows, wrong = [], []
    for number in range(40):
        rate = np.exp(rng.normal(6, 0.7))
        made = rng.poisson(rate * np.exp(rng.normal(0, 0.15, 40)))
        right = (rng.integers(0, 90_000) + np.cumsum(made)) % 100_000
        values = right.copy()
        for place in np.flatnonzero(rng.random(40) < 0.03):
            text = f"{right[place]:05d}"
            at = int(rng.integers(0, 3))
            slip = [text[:at] + text[at + 1] + text[at] + text[at + 2 :], text[:at] + text[at + 1 :]]
            values[place] = int(slip[int(rng.integers(0, 2))])
        rows += monthly(f"T{number:02d}", values.tolist())
        wrong += (np.abs(values - right) > 0.3 * rate).tolist()
    readings = readings_frame(rows)
    units = units_frame(sorted(set(readings["unit"]))).assign(station=lambda frame: frame["unit"])
    book = make_book(units, readings, events_frame(), stays_frame())
    marked = np.concatenate([~chains.used for _, _, chains in search(book)])
    found = marked & np.array(wrong)
    assert found.sum() / sum(wrong) >= 0.9
    assert found.sum() / marked.sum() >= 0.95
