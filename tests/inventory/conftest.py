"""A small sound inventory to break."""

from __future__ import annotations

from pathlib import Path

import pytest

HOSTS = """\
quay-a: {hostname: 192.0.2.11, groups: [quay]}
quay-b: {hostname: 192.0.2.12, groups: [quay]}
"""
GROUPS = """\
controllers: {platform: ios}
quay:
  groups: [controllers]
  data:
    pair: quay
    site: Harbour Quay
    target_release: 17.12.4
    image: {file: wx-universal.17.12.04.bin, bytes: 1250000000}
    window: {start: 2027-02-06T23:00:00+01:00, minutes: 240}
"""
POLICY = """\
hardware:
  WX-9840: {kind: physical, in_service_upgrade: true, rom_monitor_minimum: 16.12(3r)}
  WX-VC: {kind: virtual, in_service_upgrade: true}
trains:
  "17.9": {long_lived: true}
  "17.13": {long_lived: false}
minimum_release: 17.3.1
recommended_release: 17.12.4
upgrade_paths:
  - {from: "17.9", to: "17.12", direct: true}
images_to_hold: 3
rules: {}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "hosts.yaml").write_text(HOSTS)
    (tmp_path / "groups.yaml").write_text(GROUPS)
    (tmp_path / "defaults.yaml").write_text("{}\n")
    (tmp_path / "policy.yaml").write_text(POLICY)
    return tmp_path
