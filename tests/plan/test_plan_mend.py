"""Repairs never make a plan dearer, and find what single moves cannot."""

from __future__ import annotations

from time import monotonic

from plan_instances import AS_OF, WEEKS, job, limits

from tapwear.plan.mend import Mender
from tapwear.plan.place import Board
from tapwear.plan.problem import problem
from tapwear.plan.types import Costs


def test_a_repair_puts_every_job_back_and_never_costs_more() -> None:
    jobs = tuple(job(f"U{at}", f"2027-0{1 + at % 6}-01", spread=20, station=f"S{at % 4}") for at in range(12))
    hoods = {f"S{at}": f"N{at % 2}" for at in range(4)}
    hours = {("North", week): 90.0 for week in WEEKS}
    task = problem(jobs, limits(crew_hours=hours, neighbourhoods=hoods), AS_OF, Costs())
    board = Board(task)
    for number in range(12):
        board.put(number, 4 * number)
    mender = Mender(range(12), seed=3)
    costs = [board.cost()]
    for _ in range(6):
        mender.mend(board, monotonic() + 10)
        costs.append(board.cost())
        again = Board(task)
        again.load(board.at)
        assert again.free == board.free
        assert again.trips == board.trips
        assert min(board.at) >= 0
    assert costs == sorted(costs, reverse=True)
    assert costs[-1] < costs[0]


def test_a_repair_brings_two_neighbours_into_one_week() -> None:
    together = {"ALDER": "hills", "BIRCH": "hills"}
    jobs = (job("A", "2027-03-01"), job("B", "2027-04-12", station="BIRCH"))
    task = problem(jobs, limits(neighbourhoods=together), AS_OF, Costs())
    board = Board(task)
    board.put(0, 8)
    board.put(1, 14)
    Mender(range(2), seed=1).mend(board, monotonic() + 10)
    assert board.at == [8, 8]
