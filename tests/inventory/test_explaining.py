"""Where each value of a policy comes from."""

from __future__ import annotations

from pathlib import Path

from inventory import yaml_files
from inventory.explaining import Setting, explained
from inventory.opening import open_inventory, read_policy

RULES = {"flash-space": True, "config-sync": True, "pair-state": False}
WEIGHTS = {"flash-space": "block", "config-sync": "block", "pair-state": "block"}


def settings(folder: Path) -> dict[str, Setting]:
    policy = open_inventory(folder, RULES).policy
    return {setting.key: setting for setting in explained(policy, folder / "policy.yaml", WEIGHTS)}


def test_every_value_names_its_line_or_is_a_default(folder: Path) -> None:
    path = folder / "policy.yaml"
    path.write_text(path.read_text().replace("rules: {}", "clock_seconds: 7\nrules:\n  flash-space: off"))
    found = settings(folder)
    assert {key: (each.value, each.line) for key, each in found.items()} == {
        "hardware.WX-9840.kind": ("physical", 2),
        "hardware.WX-9840.in_service_upgrade": (True, 2),
        "hardware.WX-9840.rom_monitor_minimum": ("16.12(3r)", 2),
        "hardware.WX-VC.kind": ("virtual", 3),
        "hardware.WX-VC.in_service_upgrade": (True, 3),
        "hardware.WX-VC.rom_monitor_minimum": (None, None),
        "trains.17.9.long_lived": (True, 5),
        "trains.17.13.long_lived": (False, 6),
        "minimum_release": ("17.3.1", 7),
        "recommended_release": ("17.12.4", 8),
        "upgrade_paths.0": ({"from": "17.9", "to": "17.12", "direct": True}, 10),
        "images_to_hold": (3, 11),
        "access_points": (None, None),
        "staging_hours": (24, None),
        "recent_days": (14, None),
        "load_ceiling_percent": (80, None),
        "memory_ceiling_percent": (90, None),
        "clock_seconds": (7, 12),
        "certificate_days": (30, None),
        "capture_age.nightly_hours": (26, None),
        "capture_age.before_window_hours": (2, None),
        "capture_spread_minutes": (15, None),
        "timings": (None, None),
        "way_back": (None, None),
        "copy_mbps": (None, None),
        "auto_abort_minutes": (None, None),
        "ap_staging.transfers": (None, None),
        "ap_staging.transfer_mbps": (None, None),
        "ap_staging.image_bytes": (None, None),
        "ap_staging.uplink_percent": (None, None),
        "ap_restarts.staged": (None, None),
        "ap_restarts.unstaged": (None, None),
        "ap_restarts.neighbour_dbm": (None, None),
        "ap_restarts.site_share_percent": (None, None),
        "ap_restarts.rolling_percents": (None, None),
        "procedure": (None, None),
        "after_window.clients_percent": (70, None),
        "after_window.baseline_hours": (1, None),
        "after_window.flash_percent": (10, None),
        "rules.flash-space": ("off", 14),
        "rules.config-sync": ("block", None),
        "rules.pair-state": ("block", None),
    }


def test_a_key_that_is_written_otherwise_keeps_its_line(folder: Path) -> None:
    path = folder / "policy.yaml"
    path.write_text(path.read_text().replace('"17.9": {long', '"17.09": {long'))
    assert settings(folder)["trains.17.9.long_lived"].line == 5


def test_a_value_that_is_written_over_several_lines_names_its_own(folder: Path) -> None:
    path = folder / "policy.yaml"
    path.write_text(path.read_text().replace("{long_lived: false}", "\n    long_lived:\n      false"))
    assert settings(folder)["trains.17.13.long_lived"].line == 7


def test_what_comes_in_by_a_merge_stands_where_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "policy.yaml"
    path.write_text(
        "hardware:\n"
        "  WX-9840: &physical\n"
        "    kind: physical\n"
        "    in_service_upgrade: true\n"
        "  WX-9880:\n"
        "    <<: *physical\n"
        "    in_service_upgrade: false\n"
        "trains: {}\n"
        "minimum_release: 17.3.1\n"
        "upgrade_paths: []\n"
    )
    lines = yaml_files.lines(path)
    assert lines[("hardware", "WX-9880", "kind")] == 3
    assert lines[("hardware", "WX-9880", "in_service_upgrade")] == 7
    found = {each.key: each.line for each in explained(read_policy(path, RULES), path, WEIGHTS)}
    assert found["hardware.WX-9880.in_service_upgrade"] == 7
    assert found["trains"] == 8
