"""What no calendar holds, or contradicts itself, in the policy and the pairs: an error each, never a crash."""

from __future__ import annotations

from pathlib import Path

import pytest

from inventory.opening import open_inventory
from inventory.problems import InventoryError
from tests.inventory.conftest import GROUPS, HOSTS, POLICY


def problems(tmp_path: Path, text: str, groups: str = GROUPS) -> list[str]:
    (tmp_path / "hosts.yaml").write_text(HOSTS)
    (tmp_path / "groups.yaml").write_text(groups)
    (tmp_path / "policy.yaml").write_text(POLICY + text)
    with pytest.raises(InventoryError) as raised:
        open_inventory(tmp_path, {})
    return [str(problem) for problem in raised.value.problems]


@pytest.mark.parametrize("value", [".inf", ".nan", "1.0e+12", "-1"])
@pytest.mark.parametrize(
    "key",
    ["staging_hours", "recent_days", "certificate_days", "clock_seconds", "capture_spread_minutes"],
)
def test_no_time_leads_out_of_the_calendar(tmp_path: Path, key: str, value: str) -> None:
    if (key, value) == ("clock_seconds", "1.0e+12"):
        value = ".inf"  # it is compared, and added to no date
    (found,) = problems(tmp_path, f"{key}: {value}\n")
    assert key in found


@pytest.mark.parametrize("key", ["nightly_hours", "before_window_hours"])
def test_no_age_leads_out_of_the_calendar(tmp_path: Path, key: str) -> None:
    (found,) = problems(tmp_path, f"capture_age: {{{key}: .inf}}\n")
    assert f"capture_age.{key}" in found


@pytest.mark.parametrize("year", ["0001", "1999", "2100", "9999"])
def test_no_window_leads_out_of_the_calendar(tmp_path: Path, year: str) -> None:
    (found,) = problems(tmp_path, "", GROUPS.replace("2027-02-06", f"{year}-12-31"))
    assert "window.start: must lie between the years 2000 and 2099" in found


def test_an_access_point_model_is_not_dropped_before_it_came(tmp_path: Path) -> None:
    (found,) = problems(tmp_path, "access_points: {WX-AP20: {first_release: 17.12.4, last_release: 17.3.1}}\n")
    assert "access_points.WX-AP20" in found
    assert "before its first_release" in found
