"""Whatever stands in an inventory's files, it is either opened or refused in sentences that name file and key."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from collector import demo, rules
from inventory.explaining import explained
from inventory.opening import Fleet, open_inventory
from inventory.problems import InventoryError
from tests.inventory.mutating import damaged, emptied

_SEEDS = range(200)


def look(seed: int, folder: Path) -> bool:
    """Open the damaged inventory of this seed; whether it was refused. Any error but the documented one is raised."""
    damaged(seed, demo.inventory_folder(), folder)
    try:
        fleet = open_inventory(folder, rules.waivable())
    except InventoryError as error:
        problems = error.problems
    else:
        _look_at(fleet)
        return False
    assert problems
    for told in map(str, problems):
        assert told.startswith(str(folder)), told
        assert told.isprintable(), told
        assert len(told) < 2_000, told
    return True


def _look_at(fleet: Fleet) -> None:
    assert explained(fleet.policy, fleet.policy_file, rules.weights())
    for pair in fleet.pairs:
        assert all(name.isprintable() for name in (pair.name, pair.site, *(member.name for member in pair.members)))


def test_damage_is_refused_in_a_sentence_or_does_no_harm(tmp_path: Path) -> None:
    refused = 0
    for seed in _SEEDS:
        emptied(tmp_path)
        try:
            refused += look(seed, tmp_path)
        except Exception as error:
            pytest.fail(f"seed {seed}: {type(error).__name__}: {error}")
    # Both happen often, or this would prove little.
    assert len(_SEEDS) / 2 < refused < len(_SEEDS)


if __name__ == "__main__":
    # A long run during development: `python -m tests.inventory.test_damaged FIRST_SEED SECONDS`.
    import tempfile
    import time

    first, until = int(sys.argv[1]), time.monotonic() + float(sys.argv[2])
    count = refused = 0
    with tempfile.TemporaryDirectory() as made:
        while time.monotonic() < until:
            emptied(Path(made))
            try:
                refused += look(first + count, Path(made))
            except Exception as error:
                print(f"seed {first + count}: {type(error).__name__}: {error}", flush=True)
            count += 1
    print(f"{count:,} inventories, {refused:,} refused")
