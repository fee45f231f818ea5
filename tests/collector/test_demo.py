"""The demo's data and its simulated controllers."""

from __future__ import annotations

import socket
import stat
from pathlib import Path

import pytest

from collector import demo, recording
from collector.capture import Capture
from inventory.opening import open_inventory

POLICY = """
hardware: {}
trains: {}
minimum_release: 17.3.1
upgrade_paths: []
"""


def test_the_demos_data_are_there() -> None:
    assert (demo.inventory_folder() / "hosts.yaml").is_file()
    assert recording.members(demo.fixtures_folder())


def test_leads_nornir_to_controllers_that_end_with_the_block(tmp_path: Path) -> None:
    (tmp_path / "policy.yaml").write_text(POLICY)
    (tmp_path / "hosts.yaml").write_text(
        "quay-a: {hostname: 192.0.2.1, port: 2022, groups: [quay]}\nquay-b: {hostname: 192.0.2.2, groups: [quay]}\n"
    )
    (tmp_path / "groups.yaml").write_text(
        "quay: {platform: ios, data: {pair: quay, site: Quay, target_release: 17.12.4}}\n"
    )
    recordings = tmp_path / "recordings"
    recording.write(recordings, "quay-a", [Capture("quay-a", "show boot", "x")])
    fleet = open_inventory(tmp_path, {})
    hosts = fleet.nornir.inventory.hosts
    with demo.controllers(fleet, recordings) as running:
        assert hosts["quay-a"].hostname == running.address
        assert {name: host.port for name, host in hosts.items()} == running.ports
        assert stat.S_IMODE(running.known_hosts.parent.stat().st_mode) == 0o700
        assert f"[{running.address}]:{running.ports['quay-a']} ssh-ed25519 " in running.known_hosts.read_text()
        with socket.create_connection((running.address, running.ports["quay-a"]), timeout=10) as wire:
            assert wire.recv(4) == b"SSH-"
        # No captures of this one: nothing listens.
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((running.address, running.ports["quay-b"]), timeout=10)
    assert not running.known_hosts.parent.exists()
    assert (hosts["quay-a"].hostname, hosts["quay-a"].port) == ("192.0.2.1", 2022)
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((running.address, running.ports["quay-a"]), timeout=10)
