"""`python -m tests.damage --count 20000 --seed 1`: how many random damages make a pair go that should not."""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

from tests.damage.pairs import GENERATED, trials
from tests.damage.trying import tried, unfit


def main() -> int:
    """Print the counts; 1 where a damage that could have been noticed made a pair go."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--count", type=int, default=20_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--pairs", type=int, default=GENERATED, help="how many pairs are generated")
    options.add_argument("--cases", action="store_true", help="also show what can't be noticed, case by case")
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
    print(f"became go: {len(count.false)}")
    print(f"went, but all answers together are those of a pair fit to go: {len(count.undetectable)}")
    for (kind, faults), many in sorted(Counter((case.kind, case.faults) for case in count.undetectable).items()):
        print(f"  {many:>6}  {kind}: {', '.join(faults)}")
    print(f"seconds: {time.monotonic() - began:.0f}")
    for case in count.undetectable if given.cases else ():
        print(f"a fit pair's answers: {case}")
    for case in count.false:
        print(f"became go: {case}")
    return 1 if count.false else 0


if __name__ == "__main__":
    sys.exit(main())
