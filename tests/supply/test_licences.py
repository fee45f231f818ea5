"""Every package that a user's readypair brings along is listed with its licence, as it says itself, and may be used."""

from __future__ import annotations

from importlib import metadata

import pytest
from license_expression import ExpressionError

from tests.supply.licences import LIST, brought, listed, permitted, stated
from tests.supply.lock import LOCK, pins

LISTED = {licence.package: licence for licence in listed(LIST.read_text(encoding="utf-8"))}
LOOK_AGAIN = "see what the package says now (python -m tests.supply.licences), and correct tests/supply/licences.txt"


def test_every_package_is_listed() -> None:
    here = set(brought())
    elsewhere = {pin.name for pin in pins(LOCK.read_text(encoding="utf-8")) if not pin.applies()} - here
    assert here <= LISTED.keys(), LOOK_AGAIN
    # What only other systems or other Pythons install is read off the lock, which knows what it is there for.
    assert LISTED.keys() - here <= elsewhere, LOOK_AGAIN
    needed = {pin.name for pin in pins(LOCK.read_text(encoding="utf-8")) if here & set(pin.needed_by)}
    assert elsewhere & needed <= LISTED.keys(), LOOK_AGAIN


def test_every_package_says_of_itself_what_is_listed() -> None:
    said = {name: stated(name) for name in brought()}
    assert said == {name: LISTED[name].says or LISTED[name].expression for name in said}, LOOK_AGAIN


def test_every_licence_permits_what_readypair_does() -> None:
    assert [str(each) for each in LISTED.values() if not permitted(each.expression)] == []


def test_readypairs_own_licence_is_the_one_of_its_file() -> None:
    assert metadata.metadata("readypair")["License-Expression"] == "Apache-2.0"


@pytest.mark.parametrize(
    ("expression", "may"),
    [
        ("MIT", True),
        ("GPL-3.0-only", False),
        ("AGPL-3.0-only OR MIT", True),
        ("AGPL-3.0-only AND MIT", False),
        ("MIT AND (GPL-2.0-or-later OR EPL-2.0)", True),
        ("GPL-2.0-only WITH Classpath-exception-2.0", False),
    ],
)
def test_of_licences_to_choose_from_one_must_permit_and_of_licences_together_all(expression: str, may: bool) -> None:
    assert permitted(expression) is may


def test_a_licence_that_nobody_knows_permits_nothing() -> None:
    with pytest.raises(ExpressionError):
        permitted("Homemade-1.0")
