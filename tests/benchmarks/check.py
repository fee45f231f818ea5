"""A check of one healthy pair over SSH, against a plain Nornir job with nornir-netmiko on the same two members.

Once over loopback, and once with a relay that makes a round trip take 40 ms. Each is timed in turns with the other,
several times, and the median of the ratios counts. Modules are loaded before the clock starts.
"""

from __future__ import annotations

import sys
from statistics import median

from tests.benchmarks.contest import PROMPT_TOLD, far_away, healthy_fleet, ours, plain, timed

ROUNDS, AT_MOST = 5, 0.4


def main() -> int:
    """Print the times and ratios, near by and far away; 1 where a ratio to the plain job is above what is allowed."""
    status = 0
    for round_trip in far_away():
        with healthy_fleet(1, round_trip) as (fleet, folder):
            ours(fleet, folder, fleet.pairs, 1)
            plain(fleet, fleet.pairs, 2)
            times = [
                (
                    timed(lambda: ours(fleet, folder, fleet.pairs, 1)),
                    timed(lambda: plain(fleet, fleet.pairs, 2)),
                    timed(lambda: plain(fleet, fleet.pairs, 2, **PROMPT_TOLD)),
                )
                for _ in range(ROUNDS)
            ]
        own, theirs, told = (median(column) for column in zip(*times, strict=True))
        ratio, to_told = (median(each[0] / each[at] for each in times) for at in (1, 2))
        status |= ratio > AT_MOST
        print(f"  plain job, one pair, both members at once: {theirs:.3f} s (median of {ROUNDS})")
        print(f"  check, parsing and judging included: {own:.3f} s, ratio {ratio:.2f}; allowed {AT_MOST}")
        print(f"  a plain job that is told which prompt to expect: {told:.3f} s, ratio {to_told:.2f}")
    return status


if __name__ == "__main__":
    sys.exit(main())
