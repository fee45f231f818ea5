"""A sweep of 50 healthy pairs over SSH, against a plain Nornir job with nornir-netmiko; both in one run.

Once over loopback, and once with a relay that makes a round trip take 40 ms; in turns, and the median of the ratios
counts. "20 workers" is 20 sessions at once for the plain job, whose unit is the host, and 20 pairs for ours, whose unit
is the pair: up to 40 sessions. Ours is therefore also timed with 10 workers, which is 20 sessions. Ours checks host
keys, parses and judges; the plain job throws the answers away. Modules are loaded before the clock starts.
"""

from __future__ import annotations

import sys
from statistics import median

from tests.benchmarks.contest import PROMPT_TOLD, far_away, healthy_fleet, ours, plain, timed

PAIRS, WORKERS, ROUNDS, AT_MOST = 50, 20, 3, 0.5


def main() -> int:
    """Print the times and ratios, near by and far away; 1 where that of 20 workers is above what is allowed."""
    status = 0
    for round_trip in far_away():
        with healthy_fleet(PAIRS, round_trip) as (fleet, folder):
            ours(fleet, folder, fleet.pairs[:1], 1)
            plain(fleet, fleet.pairs[:1], 2)
            times = [
                (
                    timed(lambda: plain(fleet, fleet.pairs, WORKERS)),
                    timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS)),
                    timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS // 2)),
                    timed(lambda: plain(fleet, fleet.pairs, WORKERS, **PROMPT_TOLD)),
                )
                for _ in range(ROUNDS)
            ]
        theirs, own, as_many_sessions, told = (median(column) for column in zip(*times, strict=True))
        print(f"  plain job, {PAIRS} pairs, {WORKERS} workers ({WORKERS} sessions at once): {theirs:.2f} s")
        for workers, seconds, at in ((WORKERS, own, 1), (WORKERS // 2, as_many_sessions, 2)):
            ratio = median(each[at] / each[0] for each in times)
            print(f"  sweep, {workers} workers (up to {2 * workers} sessions): {seconds:.2f} s, ratio {ratio:.2f}")
        ratio = median(each[1] / each[3] for each in times)
        print(f"  a plain job that is told which prompt to expect: {told:.2f} s, ratio ({WORKERS}) {ratio:.2f}")
        status |= median(each[1] / each[0] for each in times) > AT_MOST
        print(f"  median of {ROUNDS} rounds; allowed ratio: {AT_MOST}")
    return status


if __name__ == "__main__":
    sys.exit(main())
