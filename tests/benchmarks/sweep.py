"""A sweep of 50 healthy pairs over loopback, against a plain Nornir job with nornir-netmiko; both in one run.

"20 workers" is 20 sessions at once for the plain job, whose unit is the host, and 20 pairs for ours, whose unit is the
pair: up to 40 sessions. Ours is therefore also timed with 10 workers, which is 20 sessions. Ours checks host keys,
parses and judges; the plain job throws the answers away. Modules are loaded before the clock starts.
"""

from __future__ import annotations

from tests.benchmarks.contest import healthy_fleet, ours, plain, timed

PAIRS, WORKERS, AT_MOST = 50, 20, 0.8


def main() -> None:
    """Print both times and the ratios."""
    with healthy_fleet(PAIRS) as (fleet, folder):
        ours(fleet, folder, fleet.pairs[:1], 1)
        plain(fleet, fleet.pairs[:1], 2)
        theirs = timed(lambda: plain(fleet, fleet.pairs, WORKERS))
        own = timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS))
        as_many_sessions = timed(lambda: ours(fleet, folder, fleet.pairs, WORKERS // 2))
    print(f"plain job, {PAIRS} pairs, {WORKERS} workers ({WORKERS} sessions at once): {theirs:.2f} s")
    print(f"sweep, {WORKERS} workers (up to {2 * WORKERS} sessions): {own:.2f} s, ratio {own / theirs:.2f}")
    print(
        f"sweep, {WORKERS // 2} workers (up to {WORKERS} sessions): {as_many_sessions:.2f} s, "
        f"ratio {as_many_sessions / theirs:.2f}"
    )
    print(f"allowed ratio: {AT_MOST}")


if __name__ == "__main__":
    main()
