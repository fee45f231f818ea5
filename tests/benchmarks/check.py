"""A check of one healthy pair over loopback, against a plain Nornir job with nornir-netmiko on the same two members.

Each is timed alternately, several times, and the median counts. Modules are loaded before the clock starts.
"""

from __future__ import annotations

from statistics import median

from tests.benchmarks.contest import healthy_fleet, ours, plain, timed

ROUNDS, AT_MOST = 5, 0.5


def main() -> None:
    """Print both times and their ratio."""
    with healthy_fleet(1) as (fleet, folder):
        ours(fleet, folder, fleet.pairs, 1)
        plain(fleet, fleet.pairs, 2)
        times = [
            (timed(lambda: ours(fleet, folder, fleet.pairs, 1)), timed(lambda: plain(fleet, fleet.pairs, 2)))
            for _ in range(ROUNDS)
        ]
    own, theirs = (median(column) for column in zip(*times, strict=True))
    print(f"plain job, one pair, both members at once: {theirs:.3f} s (median of {ROUNDS})")
    print(f"check, parsing and judging included: {own:.3f} s, ratio {own / theirs:.2f}; allowed {AT_MOST}")


if __name__ == "__main__":
    main()
