"""One healthy pair with 6,000 access points, read from recordings and judged: the CPU time and the memory it takes.

The modules are loaded and the templates compiled before the clock starts; the memory is the whole process's peak.
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

from collector import recording, rules
from collector.demo import EVENING, inventory_folder
from collector.judging import judge_pair
from collector.result import PairResult
from inventory.opening import open_inventory
from inventory.pairs import Pair
from inventory.policy import Policy
from parsers import catalogue
from tests.fleet import writing
from tests.fleet.making import healthy_pairs

ACCESS_POINTS, ROUNDS = 6000, 5
CPU_SECONDS, MEGABYTES = 2.0, 300


def judged(pair: Pair, policy: Policy, folder: Path) -> PairResult:
    """What a sweep does with a pair once its captures are there, from the files on."""
    captures = {member.name: recording.load(folder, member.name, catalogue.asked()) for member in pair.members}
    return judge_pair(pair, captures, policy, EVENING)


def main() -> None:
    """Print both figures."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        described = healthy_pairs(1, ACCESS_POINTS)
        writing.write_pair(described[0], folder)
        (folder / "hosts.yaml").write_text(writing.hosts(described))
        (folder / "groups.yaml").write_text(writing.groups(described))
        (folder / "policy.yaml").write_text((inventory_folder() / "policy.yaml").read_text())
        fleet = open_inventory(folder, rules.waivable())
        pair = fleet.pairs[0]
        judged(pair, fleet.policy, folder)
        spent = []
        for _ in range(ROUNDS):
            start = time.process_time()
            result = judged(pair, fleet.policy, folder)
            spent.append(time.process_time() - start)
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    print(f"one pair with {ACCESS_POINTS} access points: {result.verdict.value}")
    print(f"CPU {min(spent):.2f} to {max(spent):.2f} s in {ROUNDS} rounds; allowed {CPU_SECONDS:.0f} s")
    print(f"memory {megabytes:.0f} MB at its peak; allowed {MEGABYTES} MB")


if __name__ == "__main__":
    main()
