from __future__ import annotations

from pathlib import Path

import pytest

from inventory.history import read_history
from inventory.problems import InventoryError


def test_minutes_become_seconds_and_no_file_means_no_history(tmp_path: Path) -> None:
    path = tmp_path / "history.yaml"
    assert read_history(path) == {}
    path.write_text("stages:\n  reload-standby: [11, 12.5]\n  restart-aps: []\n")
    assert read_history(path) == {"reload-standby": (660.0, 750.0), "restart-aps": ()}


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "history.yaml"
    path.write_text("stages:\n  reload: [1]\n  commit: [-1, .nan, soon]\n  copy: 4\nnights: 3\n")
    with pytest.raises(InventoryError) as caught:
        read_history(path)
    told = {problem.key: problem.message for problem in caught.value.problems}
    number = "must be a number of minutes, from 0 to those of a week"
    assert told.pop("stages.reload").startswith("there is no stage 'reload' whose durations count; there are expand, ")
    assert told == {
        "stages.commit.0": number,
        "stages.commit.1": number,
        "stages.commit.2": number,
        "stages.copy": "must be a list",
        "nights": "isn't a key that readypair knows; correct its spelling or take it out",
    }
