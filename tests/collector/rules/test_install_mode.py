from __future__ import annotations

from typing import Literal

import pytest

from collector.finding import Answer, Status
from collector.rules.install_mode import RULE
from parsers.facts.software import Version
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
)


def judged(mode: Literal["install", "bundle"] | None, image: str | None) -> Answer:
    """The answer for a pair whose standby runs so."""
    version = Version(install_mode=mode, image_file=image, at={"install_mode": (12,), "image_file": (7,)})
    return RULE.judge(snapshot(b=changed(healthy(2), show_version=version)), policy())


@pytest.mark.parametrize("image", ["bootflash:packages.conf", "bootflash:/packages.conf", "flash:packages.conf"])
def test_install_mode_on_both_passes(image: str) -> None:
    assert judged("install", image).status is Status.PASS


@pytest.mark.parametrize("image", ["bootflash:wx-universal.17.09.04a.bin", None])
def test_bundle_mode_on_the_standby_alone_blocks(image: str | None) -> None:
    found = judged("bundle", image)
    assert found.status is Status.BLOCK
    assert found.statement.startswith("quay-b runs in bundle mode")
    assert "quay-a" not in found.statement
    assert told(found.evidence) == {("quay-b", "show version"): (7, 12)}
    assert "drop its clients" in found.remedy


def test_an_image_that_is_not_the_packages_file_belies_install_mode() -> None:
    found = judged("install", "bootflash:wx-universal.17.09.04a.bin")
    assert found.status is Status.BLOCK
    assert "wx-universal.17.09.04a.bin" in found.statement


@pytest.mark.parametrize(("mode", "image"), [(None, "bootflash:packages.conf"), ("install", None), (None, None)])
def test_half_of_it_is_not_enough(mode: Literal["install"] | None, image: str | None) -> None:
    assert judged(mode, image).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, UNREADABLE, MISSING])
def test_nobody_can_tell_a_standbys_mode_for_it(lost: Lost) -> None:
    found = RULE.judge(snapshot(b=changed(healthy(2), show_version=lost)), policy())
    assert found.status is Status.UNKNOWN
    assert "quay-b's install mode isn't known" in found.statement
