"""The book of readings that the search for right ones works on: flat arrays, sorted by counter and day.

A *counter* here is one mechanical counter, one raise counter, one lower counter or one controller count of one
drive; how several of them make the operations of a drive is settled afterwards, in `drives`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Replacement:
    """One recorded exchange of a counter; `old` and `new` are NaN where they were not written down."""

    counter: int
    epoch: int
    served: float
    old: float
    new: float


@dataclass(frozen=True)
class Book:
    """Readings of all counters, sorted by counter and day, as flat arrays.

    counter, day, value, modulus, row : one entry a reading
        counter code (0, 1, ...), day number since 1970-01-01, value as written, 10**digits, and the
        reading's row in the frame it came from
    served : one entry a reading
        Days in service up to `day`, from an arbitrary start. [days]
    inspected : one entry a reading
        Number of recorded inspections up to and including `day`.
    epoch : one entry a reading
        Number of recorded counter replacements before the reading.
    unit, drive, source : one entry a counter
        names; the source is mechanical, raise, lower or controller
    group, station : one entry a counter
        codes of the peer group and the station
    replacements : tuple of Replacement
    bank : one entry a counter
        code of the bank whose drives are moved together, -1 for none known
    """

    counter: np.ndarray
    day: np.ndarray
    value: np.ndarray
    modulus: np.ndarray
    row: np.ndarray
    served: np.ndarray
    inspected: np.ndarray
    epoch: np.ndarray
    unit: np.ndarray
    drive: np.ndarray
    source: np.ndarray
    group: np.ndarray
    station: np.ndarray
    replacements: tuple[Replacement, ...]
    bank: np.ndarray = field(default_factory=lambda: np.full(1, -1))

    def part(self, counters: slice, readings: slice) -> Book:
        """The book of some successive counters, whose readings are those given."""
        begin = counters.start
        return Book(
            self.counter[readings] - begin,
            self.day[readings],
            self.value[readings],
            self.modulus[readings],
            self.row[readings],
            self.served[readings],
            self.inspected[readings],
            self.epoch[readings],
            self.unit[counters],
            self.drive[counters],
            self.source[counters],
            self.group[counters],
            self.station[counters],
            tuple(
                Replacement(one.counter - begin, one.epoch, one.served, one.old, one.new)
                for one in self.replacements
                if begin <= one.counter < counters.stop
            ),
            self.bank[counters],
        )
