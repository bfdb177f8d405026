"""How long the oil layer takes to assess a large fleet, three times over.

    python tests/bench/speed_oil.py [--samples 100000]

The fleet is made of sound units of the disturbed kinds of oil_confounders.py, repeated under other names. Prints the
seconds that passed and the processor's seconds of each run.
"""

from __future__ import annotations

import argparse
import time

import pandas as pd
from oil_confounders import DISTURBED_AT, START, Fleet, simulate

from tapwear.oil.assess import assess

KINDS = ("nothing", "oil changed, recorded", "one air-exposed sample", "gas left after a repair")
UNITS = 250  # simulated per kind


def large(samples: int) -> Fleet:
    """A fleet with at least so many samples."""
    parts: list[Fleet] = []
    total = 0
    made = [simulate(kind, UNITS, seed) for seed, kind in enumerate(KINDS)]
    while total < samples:
        fleet = made[len(parts) % len(made)]
        mark = f"F{len(parts)}"
        named = fleet.samples.assign(unit=mark + fleet.samples["unit"], sample_id=fleet.samples["sample_id"] + total)
        units = fleet.units.assign(unit=mark + fleet.units["unit"], station=mark + fleet.units["station"])
        parts.append(Fleet(named, fleet.events.assign(unit=mark + fleet.events["unit"].astype(str)), units))
        total += len(named)
    joined = (
        pd.concat([getattr(p, name) for p in parts], ignore_index=True) for name in ("samples", "events", "units")
    )
    return Fleet(*joined)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--samples", type=int, default=100_000)
    fleet = large(parser.parse_args().samples)
    as_of = (START + pd.DateOffset(months=DISTURBED_AT + 18)).date()
    seen = fleet.samples["sampled_on"] <= pd.Timestamp(as_of)
    print(f"{len(fleet.units):,} units, {int(seen.sum()):,} samples as of {as_of}")
    for _ in range(3):
        clock, processor = time.perf_counter(), time.process_time()
        found = assess(fleet.samples, fleet.events, fleet.units, as_of)
        pulled = sum(v.call == "pull forward" for v in found)
        passed, worked = time.perf_counter() - clock, time.process_time() - processor
        print(f"{passed:.1f} s, {worked:.1f} s of the processor; {pulled} of {len(found):,} pulled forward")


if __name__ == "__main__":
    main()
