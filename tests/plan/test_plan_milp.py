"""The mixed-integer program: its rows, and its answer where the time is over already."""

from __future__ import annotations

import pytest
from plan_instances import AS_OF, WEEKS, group, job, limits

from tapwear.plan.milp import model, reachable, solve
from tapwear.plan.place import Board
from tapwear.plan.problem import problem
from tapwear.plan.types import Costs


@pytest.mark.parametrize(
    ("amounts", "room", "most"),
    [
        ([80.0, 60.0, 60.0], 190.0, 140.0),
        ([60.0, 60.0, 60.0], 190.0, 180.0),
        ([80.0, 40.0], 120.0, 120.0),
        ([80.0], 20.0, 0.0),
        ([26.66, 26.66], 60.0, 53.32),
        ([80 / 3, 80 / 3], 60.0, 60.0),  # thirds of an hour are left as they are
    ],
)
def test_a_room_is_cut_down_to_what_can_be_reached(amounts: list[float], room: float, most: float) -> None:
    assert reachable(amounts, room) == pytest.approx(most)


def test_jobs_that_exclude_each_other_share_the_row_of_their_trip() -> None:
    jobs = tuple(job(unit) for unit in "ABC")
    alike = Board(problem(jobs, limits(groups=group(*"ABC")), AS_OF, Costs()))
    apart = Board(problem(jobs, limits(), AS_OF, Costs()))
    # By week: the group's own row and one with the trip; or one row for each of three jobs. One row per job besides.
    assert model(alike, range(3)).matrix.shape[0] == 3 + 2 * len(WEEKS)
    assert model(apart, range(3)).matrix.shape[0] == 3 + 3 * len(WEEKS)


@pytest.mark.parametrize("seconds", [0.0, -1.0])
def test_a_time_that_is_over_gives_no_plan_or_a_whole_one(seconds: float) -> None:
    jobs = tuple(job(f"U{at:02}", f"2027-0{1 + at % 9}-01", station=f"S{at % 7}") for at in range(40))
    hours = {("North", week): 90.0 for week in WEEKS}
    board = Board(problem(jobs, limits(crew_hours=hours), AS_OF, Costs()))
    found = solve(board, range(40), at_hand=1e6, seconds=seconds)
    assert found.bound <= 1e6
    assert found.starts is None or set(found.starts) == set(range(40))
