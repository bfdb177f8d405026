"""The best plan that can be found in the time given, and a proof of how good it is.

Parts of the plan that share no crew, group, resource or trip are solved by themselves, which is exact. Of each part
first comes a plan by greedy and annealing, with a fixed number of steps. Then two things go on side by side: HiGHS
works on the whole part, for a proof and perhaps a better plan; annealing and repairs by small programs polish the
plan. A part that HiGHS finishes has the same answer on every machine; where the time ends first, the best
plan met is kept and said to be time-limited.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date
from queue import SimpleQueue
from time import monotonic

from tapwear.plan.mend import Mender
from tapwear.plan.milp import solve
from tapwear.plan.place import OUT, Board, first_fixed, greedy, stopped_words, to_result
from tapwear.plan.polish import STEPS_BETWEEN_LOOKS, Polisher
from tapwear.plan.problem import Problem, problem
from tapwear.plan.quiet import quiet_stdout
from tapwear.plan.stops import OTHERS
from tapwear.plan.types import Costs, Job, Limits, PlanResult, Proof

FIRST, AGAIN = 1_500, 3_000  # steps for each block, in the first annealing of a part and in later ones; our choice
SPEED = 30_000.0  # steps a second that are counted on at first; our choice, below what was seen
SMALL = 12  # blocks; HiGHS has a part of that size in a moment, without annealing first
SECONDS_WORTH_IT = 1.0  # to begin another proof
LEAST = 1e-6  # [cost] less is no improvement
DEARER = "room only where it would push out dearer work: "


@dataclass
class Part:
    """Blocks that share something with each other and nothing with the rest, and the best placing known."""

    numbers: list[int]
    starts: dict[int, int]
    cost: float
    bound: float
    done: bool = False
    by_clock: bool = False  # the clock has had a hand in the plan
    seed: int = 0
    mender: Mender = field(init=False)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.mender = Mender(self.numbers, seed=1)

    def better(self, starts: dict[int, int], cost: float) -> None:
        with self.lock:
            if not self.done and cost < self.cost - LEAST:
                self.starts, self.cost = starts, cost


def optimise(
    jobs: tuple[Job, ...],
    limits: Limits,
    as_of: date,
    *,
    costs: Costs | None = None,
    seconds: float = 60.0,
    progress: Callable[[float, float], None] | None = None,
) -> PlanResult:
    """The cheapest plan that is found within `seconds`, never dearer than the greedy one, with its proof.

    Pinned jobs stand in their weeks and severe ones in the first weeks possible; the others are weighed against
    each other by `costs`. `progress` is told cost and bound now and then; standard output is shut meanwhile. Raises
    nothing for what cannot be placed: each job left out says what stops it.
    """
    costs = costs or Costs()
    began = monotonic()
    task = problem(jobs, limits, as_of, costs)
    plan = greedy(task)
    greedy_cost = plan.cost()
    fixed = first_fixed(task)
    start_from(plan, fixed)
    parts = [_part(numbers, plan, fixed) for numbers in _parts(task)]
    settled = fixed.cost() - sum(task.blocks[number].left_out for part in parts for number in part.numbers)
    with quiet_stdout():
        _work(parts, fixed, began + seconds, _teller(parts, settled, progress))
    for part in parts:
        for number, start in part.starts.items():
            fixed.put(number, start)
    cost = fixed.cost()
    bound = min(cost, settled + sum(part.bound for part in parts))
    proof = Proof(cost, bound, greedy_cost, monotonic() - began, any(part.by_clock or not part.done for part in parts))
    words = {number: _words(fixed, number) for number, start in enumerate(fixed.at) if start == OUT}
    return replace(to_result(jobs, limits, as_of, costs, fixed, words), proof=proof)


def start_from(plan: Board, fixed: Board) -> None:
    """Where the jobs keep weeks of an earlier plan, that plan takes the place of the greedy one if it is cheaper."""
    kept = Board(plan.task)
    kept.load(fixed.at)
    weeks = plan.task.weeks
    wanted = {}
    for number, block in enumerate(plan.task.blocks):
        weeks_kept = {job.kept_week for job in block.jobs}
        week = weeks_kept.pop() if len(weeks_kept) == 1 else None
        if week in weeks and not block.pinned and not block.severe:
            wanted[number] = weeks.index(week)
    for number, start in wanted.items():
        if start in plan.task.blocks[number].starts and kept.fits(number, start):
            kept.put(number, start)
    for number, block in enumerate(plan.task.blocks):
        if kept.at[number] == OUT and not block.pinned and not block.severe:
            kept.put(number, kept.best(number)[0])
    if kept.cost() < plan.cost():
        plan.load(kept.at)


def _parts(task: Problem) -> list[list[int]]:
    """Blocks that the optimiser may move, by what they share; the largest part first."""
    weeks = len(task.weeks)
    parent = {
        number: number
        for number, block in enumerate(task.blocks)
        if block.starts and not block.pinned and not block.severe
    }

    def root(number: int) -> int:
        while parent[number] != number:
            parent[number] = parent[parent[number]]
            number = parent[number]
        return number

    first: dict[tuple[str, int], int] = {}
    for number in parent:
        block = task.blocks[number]
        shared = [("cell", offset // weeks) for offset, _ in block.takes if min(_room(task, offset // weeks)) < 1e18]
        for key in [*shared, *(("trip", offset // weeks) for offset in block.trips)]:
            other = first.setdefault(key, number)
            if root(other) != root(number):
                parent[max(root(other), root(number))] = min(root(other), root(number))
    found: dict[int, list[int]] = defaultdict(list)
    for number in parent:
        found[root(number)].append(number)
    return sorted(found.values(), key=lambda numbers: (-len(numbers), numbers))


def _room(task: Problem, limit: int) -> tuple[float, ...]:
    return task.capacity[limit * len(task.weeks) : (limit + 1) * len(task.weeks)]


def _part(numbers: list[int], plan: Board, fixed: Board) -> Part:
    blocks = plan.task.blocks
    starts = {number: plan.at[number] for number in numbers}
    bound = sum(min(blocks[number].left_out, min(blocks[number].cost)) for number in numbers)
    return Part(numbers, starts, fixed.cost_of(starts), bound)


def _teller(
    parts: list[Part], settled: float, progress: Callable[[float, float], None] | None
) -> Callable[[], None]:
    def tell() -> None:
        if progress:
            progress(settled + sum(part.cost for part in parts), settled + sum(part.bound for part in parts))

    return tell


def _work(parts: list[Part], fixed: Board, until: float, tell: Callable[[], None]) -> None:
    """Anneals in this thread while HiGHS, which needs no interpreter, works in another."""
    ready: SimpleQueue[tuple[Part, dict[int, int], float]] = SimpleQueue()
    failed: list[BaseException] = []

    def prove() -> None:
        try:
            _prove(ready, len(parts), fixed, until)
        except BaseException as error:  # raised again below
            failed.append(error)

    prover = threading.Thread(target=prove, daemon=True)
    prover.start()
    board = _copy(fixed)
    speed = SPEED  # steps a second, the last seen
    for left, part in zip(range(len(parts), 0, -1), parts, strict=True):
        slot = monotonic() + max(0.0, until - monotonic()) / left
        if len(part.numbers) > SMALL:
            steps = FIRST * len(part.numbers)
            if steps > speed * (slot - monotonic()):  # better fewer steps than none that are cold
                steps, part.by_clock = int(speed * (slot - monotonic())), True
            speed = _anneal(part, board, max(steps, STEPS_BETWEEN_LOOKS), slot) or speed
        ready.put((part, part.starts, part.cost))
        tell()
    while prover.is_alive() and monotonic() < until:
        still = [part for part in parts if not part.done]
        share = (until - monotonic()) / max(1, sum(len(part.numbers) for part in still))
        for part in still:
            steps = min(AGAIN * len(part.numbers), int(speed * share * len(part.numbers) / 2))
            began = monotonic()
            speed = _anneal(part, board, max(steps, STEPS_BETWEEN_LOOKS), until) or speed
            _mend(part, board, min(until, 2 * monotonic() - began))
            tell()
        if not still:
            break
    prover.join()
    if failed:
        raise failed[0]


def _copy(fixed: Board) -> Board:
    board = Board(fixed.task)
    board.load(fixed.at)
    return board


@contextmanager
def _on(board: Board, part: Part) -> Iterator[None]:
    """Puts the best plan of a part on a board that holds what is fixed; afterwards what came of it is the part's."""
    for number, start in part.starts.items():
        board.put(number, start)
    yield
    starts = {number: board.take_out(number) for number in part.numbers}
    part.better(starts, board.cost_of(starts))


def _anneal(part: Part, board: Board, steps: int, until: float) -> float:
    """Polishes the plan of a part; the steps a second. A first round that the clock cut is remembered."""
    began = monotonic()
    with _on(board, part):
        whole = Polisher(board, part.numbers, part.seed).anneal(steps, over=lambda: part.done or monotonic() > until)
    if not whole and part.seed == 0 and len(part.numbers) > SMALL:
        part.by_clock = True
    part.seed += 1
    return steps / max(monotonic() - began, LEAST) if whole else 0.0


def _mend(part: Part, board: Board, until: float) -> None:
    """Repairs of a part for a while."""
    with _on(board, part):
        while not part.done and monotonic() < until:
            part.mender.mend(board, until)


def _prove(ready: SimpleQueue[tuple[Part, dict[int, int], float]], count: int, fixed: Board, until: float) -> None:
    """Takes the parts as they come and gives each an equal share of the time that is left; then again what is open."""
    board = _copy(fixed)
    parts = []
    for left in range(count, 0, -1):
        part, starts, cost = ready.get()
        parts.append(part)
        _prove_part(part, starts, cost, board, max(0.0, until - monotonic()) / left)
    while (still := [part for part in parts if not part.done]) and until - monotonic() > SECONDS_WORTH_IT:
        part = max(still, key=lambda part: part.cost - part.bound)
        part.by_clock = True
        with part.lock:
            starts, cost = part.starts, part.cost
        _prove_part(part, starts, cost, board, until - monotonic())


def _prove_part(part: Part, starts: dict[int, int], cost: float, board: Board, seconds: float) -> None:
    """Looks for a plan of the part below `cost`, and for a bound."""
    found = solve(board, part.numbers, at_hand=cost, seconds=seconds)
    with part.lock:
        if not found.done:  # else the same answer on every machine, whatever the polishing has met meanwhile
            starts, cost = part.starts, part.cost
        if found.starts is not None and found.cost < cost - LEAST:
            starts, cost = found.starts, found.cost
        part.bound = min(max(part.bound, found.bound), cost)  # never above the cost that progress tells
        part.starts, part.cost, part.done = starts, cost, part.done or found.done


def _words(board: Board, number: int) -> str:
    words = stopped_words(board, number)
    block = board.task.blocks[number]
    if block.pinned or block.severe:
        return words
    stopped = [board.stops(number, start) for start in range(len(board.task.weeks))]
    if all(stopped) and any(all(stop.kind in OTHERS for stop in stops) for stops in stopped):
        return DEARER + words
    return words
