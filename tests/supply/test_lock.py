"""The lock holds what is needed, whole and nothing else, and these tests run with it."""

from __future__ import annotations

from collections import Counter
from importlib import metadata

import pytest
from packaging.utils import canonicalize_name

from tests.supply.lock import LOCK, Environment, asked, needed, pins

TEXT = LOCK.read_text(encoding="utf-8")
PINS = pins(TEXT)
INSTALL = "install what the lock says: .venv/bin/pip install --no-deps -r tests/supply/locked.txt"
LOCK_AGAIN = "lock again, with the command in DEVELOPERS.md"


def _machine(system: str, python: str) -> Environment:
    return {
        "sys_platform": system,
        "os_name": "nt" if system == "win32" else "posix",
        "python_version": python,
        "python_full_version": f"{python}.0",
        "extra": "",
    }


MACHINES = [_machine(system, python) for system in ("linux", "darwin", "win32") for python in ("3.11", "3.12", "3.14")]


def test_these_tests_run_with_the_versions_of_the_lock() -> None:
    installed = {canonicalize_name(each.metadata["Name"]): each.version for each in metadata.distributions()}
    wrong = {
        pin.name: f"{installed.get(pin.name)}, not {pin.version}"
        for pin in PINS
        if pin.applies() and installed.get(pin.name) != pin.version
    }
    assert wrong == {}, INSTALL


def test_every_package_that_is_needed_is_pinned_within_what_is_required_of_it() -> None:
    pinned = {pin.name: pin.version for pin in PINS if pin.applies()}
    wrong = [
        str(requirement)
        for name, requirements in needed(asked("develop")).items()
        for requirement in requirements
        if name not in pinned or not requirement.specifier.contains(pinned[name], prereleases=True)
    ]
    assert wrong == [], LOCK_AGAIN


def test_nothing_is_pinned_that_nobody_needs() -> None:
    assert {pin.name for pin in PINS if pin.applies()} == needed(asked("develop")).keys(), LOCK_AGAIN


@pytest.mark.parametrize("machine", MACHINES, ids=lambda each: f"{each['sys_platform']}-{each['python_version']}")
def test_every_machine_has_one_version_of_each_package_and_all_that_is_asked_for(machine: Environment) -> None:
    applying = Counter(pin.name for pin in PINS if pin.applies(machine))
    assert set(applying.values()) == {1}
    assert {canonicalize_name(each.name) for each in asked("develop")} <= applying.keys()


def test_every_pin_is_one_version_with_digests() -> None:
    for pin in PINS:
        assert pin.version
        assert pin.digests
        assert all(digest.startswith("sha256:") and len(digest) == len("sha256:") + 64 for digest in pin.digests)


def test_the_lock_names_no_place_to_fetch_from() -> None:
    assert "://" not in TEXT
    assert "index" not in TEXT


def test_a_lock_that_leaves_a_choice_is_none() -> None:
    (pin,) = pins("rich>=13 \\\n    --hash=sha256:00\n    # via readypair (pyproject.toml)\n")
    assert (pin.name, pin.digests, pin.needed_by) == ("rich", ("sha256:00",), ("readypair",))
    with pytest.raises(ValueError, match="is no pin"):
        _ = pin.version
    with pytest.raises(ValueError, match="more than digests for rich==13"):
        pins("rich==13 \\\n    --index elsewhere\n")
