"""What the policy may say of a pair after its window."""

from __future__ import annotations

from pathlib import Path

import pytest

from inventory.opening import open_inventory
from inventory.policy import AfterWindow
from inventory.problems import InventoryError
from tests.inventory.conftest import GROUPS, HOSTS, POLICY


def opened(folder: Path, text: str) -> AfterWindow:
    (folder / "hosts.yaml").write_text(HOSTS)
    (folder / "groups.yaml").write_text(GROUPS)
    (folder / "policy.yaml").write_text(POLICY + text)
    return open_inventory(folder, {}).policy.after_window


def test_it_has_values_of_its_own(tmp_path: Path) -> None:
    assert opened(tmp_path, "") == AfterWindow(clients_percent=70, baseline_hours=1, flash_percent=10)
    assert opened(tmp_path, "after_window: {clients_percent: 85}\n").clients_percent == 85


@pytest.mark.parametrize(
    ("key", "value"),
    [("clients_percent", 0), ("clients_percent", 101), ("baseline_hours", 13), ("flash_percent", ".nan"), ("share", 1)],
)
def test_a_mistake_is_named_by_its_key(tmp_path: Path, key: str, value: object) -> None:
    with pytest.raises(InventoryError) as caught:
        opened(tmp_path, f"after_window: {{{key}: {value}}}\n")
    assert f"after_window.{key}" in str(caught.value.problems[0])
