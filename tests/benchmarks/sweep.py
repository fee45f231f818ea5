"""A sweep of 50 healthy pairs over SSH, against a plain Nornir job with nornir-netmiko; both in one run.

Once over loopback, and once with a relay that makes a round trip take 40 ms; in turns, and the median of the ratios
counts. "20 workers" is 20 sessions at once for the plain job, whose unit is the host, and 20 pairs for ours, whose unit
is the pair: up to 40 sessions. Ours is therefore also timed with 10 workers, which is 20 sessions. Ours checks host
keys, parses and judges; the plain job throws the answers away. Modules are loaded before the clock starts.
"""

from __future__ import annotations

from statistics import median

from tests.benchmarks.contest import far_away, healthy_fleet, ours, plain, timed

PAIRS, WORKERS, ROUNDS, AT_MOST = 50, 20, 3, 0.5


def main() -> None:
    """Print the times and the ratios, near by and far away."""
    for round_trip in far_away():
        with healthy_fleet(PAIRS, round_trip) as (fleet, folder):
            ours(fleet, folder, fleet.pairs[:1], 1)
            plain(fleet, fleet.pairs[:1], 2)
            times = [
                (
                    timed(lambda: plain(fleet, fleet.pairs, WORKERS)),
                    timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS)),
                    timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS // 2)),
                )
                for _ in range(ROUNDS)
            ]
        theirs, own, as_many_sessions = (median(column) for column in zip(*times, strict=True))
        print(f"  plain job, {PAIRS} pairs, {WORKERS} workers ({WORKERS} sessions at once): {theirs:.2f} s")
        for workers, seconds, at in ((WORKERS, own, 1), (WORKERS // 2, as_many_sessions, 2)):
            ratio = median(each[at] / each[0] for each in times)
            print(f"  sweep, {workers} workers (up to {2 * workers} sessions): {seconds:.2f} s, ratio {ratio:.2f}")
        print(f"  median of {ROUNDS} rounds; allowed ratio: {AT_MOST}")


if __name__ == "__main__":
    main()
