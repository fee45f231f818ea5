"""`python -m tests.damage --count 20000 --seed 1`: how many random damages make a pair go that should not."""

from __future__ import annotations

import argparse
import sys
import time

from tests.damage.pairs import GENERATED, trials
from tests.damage.trying import tried, unfit


def main() -> int:
    """Print the counts; 1 where a damage that could have been noticed made a pair go."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--count", type=int, default=20_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--pairs", type=int, default=GENERATED, help="how many pairs are generated")
    options.add_argument("--processes", type=int, default=2)
    given = options.parse_args()
    began = time.monotonic()
    pairs = trials(given.pairs, given.seed)
    print(f"pairs: {len(pairs)}, of which {len(unfit(pairs))} should not go", flush=True)
    count = tried(given.count, given.seed, generated=given.pairs, processes=given.processes)
    for kind, many in sorted(count.by_kind.items()):
        print(f"  {many:>6}  {kind}")
    print(f"damages: {count.damages}, of which {count.unchanged} changed nothing")
    print(f"still not go: {count.damages - len(count.went)}")
    print(f"went, and every answer that told the fault was a healthy pair's: {len(count.undetectable)}")
    print(f"became go: {len(count.false)}")
    print(f"seconds: {time.monotonic() - began:.0f}")
    for title, cases in (("became go", count.false), ("a healthy pair's answers", count.undetectable)):
        for case in cases:
            print(f"{title}: {case}")
    return 1 if count.false else 0


if __name__ == "__main__":
    sys.exit(main())
