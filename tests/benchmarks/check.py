"""A check of one healthy pair over SSH, against a plain Nornir job with nornir-netmiko on the same two members.

Once over loopback, and once with a relay that makes a round trip take 40 ms. Each is timed in turns with the other,
several times, and the median of the ratios counts. Modules are loaded before the clock starts.
"""

from __future__ import annotations

from statistics import median

from tests.benchmarks.contest import far_away, healthy_fleet, ours, plain, timed

ROUNDS, AT_MOST = 5, 0.4


def main() -> None:
    """Print both times and their ratio, near by and far away."""
    for round_trip in far_away():
        with healthy_fleet(1, round_trip) as (fleet, folder):
            ours(fleet, folder, fleet.pairs, 1)
            plain(fleet, fleet.pairs, 2)
            times = [
                (timed(lambda: ours(fleet, folder, fleet.pairs, 1)), timed(lambda: plain(fleet, fleet.pairs, 2)))
                for _ in range(ROUNDS)
            ]
        own, theirs = (median(column) for column in zip(*times, strict=True))
        ratio = median(first / second for first, second in times)
        print(f"  plain job, one pair, both members at once: {theirs:.3f} s (median of {ROUNDS})")
        print(f"  check, parsing and judging included: {own:.3f} s, ratio {ratio:.2f}; allowed {AT_MOST}")


if __name__ == "__main__":
    main()
