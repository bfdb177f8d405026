"""Which units speak for the others.

What is usual of like units is learnt from at most so many of them, whole stations at a time, in an order that the
stations' names give: a digest of each, which is as good as drawing lots and the same everywhere. A part of the fleet
that holds those who speak learns the same as the whole, so that the page of one unit agrees with the list of all,
however large the fleet is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import pandas as pd

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

OF_A_GROUP = 60  # units that speak for a group of like ones; a median of so many is near enough; our choice
OF_THE_FLEET = 400  # units that speak for the fleet: laboratories, season, past errors of forecasts; our choice
ALONE = "\0"
PEERS = ("peer_group",)
LIKE_OIL = (("technology", "breathing", "oil_group"), ("technology", "breathing"), ("technology",))


@dataclass(frozen=True)
class Speakers:
    """Tags of the units that speak for their own group, and for the fleet."""

    of_groups: frozenset[str]
    of_fleet: frozenset[str]

    @classmethod
    def of(cls, units: pd.DataFrame, like: Sequence[str]) -> Speakers:
        """Who speaks among these units.

        units : unit, the columns in `like`, and home [station where the register first had the unit; where the column
            is missing its station]; a unit without a home draws a lot of its own
            speaks [False: is only compared; may be left out]
        like : columns whose values make a group
        """
        known = in_order(units[units["speaks"]] if "speaks" in units else units)
        return cls(frozenset(known["unit"][_groups(known, like)[1]]), frozenset(known["unit"].iloc[:OF_THE_FLEET]))

    def rows(self, names: Sequence[str] | npt.NDArray[np.object_]) -> tuple[Bools, Bools]:
        """(n,) whether each unit speaks for its group, and for the fleet."""
        return _among(names, self.of_groups), _among(names, self.of_fleet)


def in_order(units: pd.DataFrame) -> pd.DataFrame:
    """The units in the order of lots, the units of a home together; each once."""
    known = units.drop_duplicates("unit")
    unit = known["unit"].astype(str)
    home = (known["home"] if "home" in known else known["station"]).fillna("").astype(str)
    codes, names = home.where(home != "", ALONE + unit).factorize()
    return known.assign(unit=unit).iloc[np.lexsort((unit.to_numpy(object), lots(list(map(str, names)))[codes]))]


@dataclass(frozen=True)
class Roll:
    """All units of a fleet in the order of lots, to find who must be at hand for some of them.

    unit : (n,) tags
    peers, like_oil : groups of like units, one or several: codes (n,), and who speaks for them (n,)
    """

    unit: npt.NDArray[np.object_]
    peers: tuple[Ints, Bools]
    like_oil: tuple[tuple[Ints, Bools], ...]

    @classmethod
    def of(cls, units: pd.DataFrame) -> Roll:
        """units : as for `Speakers`, with peer_group, technology, breathing and oil_group."""
        known = in_order(units)
        return cls(known["unit"].to_numpy(object), _groups(known, PEERS), tuple(_groups(known, at) for at in LIKE_OIL))

    def company(self, wanted: Collection[str]) -> list[str]:
        """The units that must be at hand, besides their neighbours, to say of those wanted what the whole fleet would.

        Those wanted are among them; tags that the roll does not have are left out.
        """
        mine = _among(self.unit, wanted)
        chosen = mine.copy()
        chosen[:OF_THE_FLEET] = True
        for codes, first in self.like_oil:
            chosen |= first & np.isin(codes, codes[mine])
        codes, first = self.peers  # the counts of all these rest on their own peers in turn
        return [str(unit) for unit in self.unit[chosen | (first & np.isin(codes, codes[chosen]))]]


def _groups(known: pd.DataFrame, like: Sequence[str]) -> tuple[Ints, Bools]:
    """Code of the group of each unit, and whether it is one of the first of its group; in the order of lots."""
    groups = known.groupby([known[name].fillna("").astype(str) for name in like], sort=False)
    return np.asarray(groups.ngroup(), dtype=np.int64), groups.cumcount().to_numpy() < OF_A_GROUP


def _among(names: Sequence[str] | npt.NDArray[np.object_], chosen: Collection[str]) -> Bools:
    return np.fromiter((name in chosen for name in names), dtype=bool, count=len(names))


def lots(names: Sequence[str]) -> npt.NDArray[np.uint64]:
    """The lot of each home; that of a unit without one is drawn by ALONE and its tag."""
    digests = b"".join(hashlib.blake2b(name.encode(), digest_size=8).digest() for name in names)
    return np.frombuffer(digests, dtype=np.uint64)
