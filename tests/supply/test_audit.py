"""Not having looked is never taken for having found nothing. The answers are in pip-audit's JSON, as 2.10 prints it."""

from __future__ import annotations

import json

import pytest

from tests.supply import audit
from tests.supply.audit import CLEAN, KNOWN, UNCHECKED, Audit, judged
from tests.supply.lock import Pin, pins

LOCK = pins("mako==1.3.9 --hash=sha256:0\nrich==15.0.0 --hash=sha256:0\n".replace(" --", " \\\n    --"))
CLEAN_MAKO = {"name": "mako", "version": "1.3.9", "vulns": []}
CLEAN_RICH = {"name": "Rich", "version": "15.0.0", "vulns": []}
BAD_MAKO = {**CLEAN_MAKO, "vulns": [{"id": "PYSEC-2026-1", "fix_versions": ["1.4.1", "2.0"], "aliases": []}]}
OLD_MAKO = {**CLEAN_MAKO, "version": "1.3.8"}
# What it prints with exit status 0 where the service answers 404: seen on a machine that reaches a mirror only.
SKIPPED_RICH = {"name": "rich", "skip_reason": "Dependency not found on PyPI and could not be audited: rich (15.0.0)"}


def answer(*rows: object) -> str:
    return json.dumps({"dependencies": rows, "fixes": []})


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (answer(CLEAN_MAKO, CLEAN_RICH), Audit(2, (), ())),
        (answer(BAD_MAKO, CLEAN_RICH), Audit(2, ("mako 1.3.9: PYSEC-2026-1, mended in 1.4.1, 2.0",), ())),
        (
            answer(BAD_MAKO, SKIPPED_RICH),
            Audit(1, ("mako 1.3.9: PYSEC-2026-1, mended in 1.4.1, 2.0",), ("rich 15.0.0",)),
        ),
        (answer(CLEAN_MAKO, SKIPPED_RICH), Audit(1, (), ("rich 15.0.0",))),
        (answer(CLEAN_MAKO), Audit(1, (), ("rich 15.0.0",))),
        (answer(OLD_MAKO, CLEAN_RICH), Audit(1, (), ("mako 1.3.9",))),
        ("", Audit(0, (), ("mako 1.3.9", "rich 15.0.0"))),
        ('{"dependencies": [{}]}', Audit(0, (), ("mako 1.3.9", "rich 15.0.0"))),
    ],
)
def test_only_what_was_looked_up_counts_as_checked(said: str, expected: Audit) -> None:
    assert judged(said, LOCK) == expected


def test_the_status_tells_a_vulnerability_a_clean_answer_and_none_apart() -> None:
    assert Audit(2, (), ()).status == CLEAN
    assert Audit(2, ("mako",), ("rich",)).status == KNOWN
    assert Audit(2, (), ("rich",)).status == UNCHECKED
    assert Audit(0, (), ()).status == UNCHECKED


def test_the_text_says_plainly_what_was_not_checked() -> None:
    silence = "NOT CHECKED for known vulnerabilities, since the service gave no answer from here"
    assert str(Audit(1, (), ("rich 15.0.0",))).endswith(f"\n{silence}: rich 15.0.0")
    assert str(Audit(0, (), ("mako 1.3.9", "rich 15.0.0"))).endswith(f"\n{silence}: all 2 packages of the lock")
    assert str(Audit(2, (), ())) == "2 packages looked up, 0 known vulnerabilities"


def test_a_service_that_does_not_answer_is_asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[Pin, ...]] = []

    def silent(lock: tuple[Pin, ...]) -> str:
        asked.append(lock)
        return ""

    monkeypatch.setattr(audit, "_pip_audit", silent)
    assert audit.audit(LOCK).status == UNCHECKED
    assert [len(lock) for lock in asked] == [1]


def test_a_service_that_answers_is_asked_about_all(monkeypatch: pytest.MonkeyPatch) -> None:
    def answering(lock: tuple[Pin, ...]) -> str:
        return answer(
            *(row for row in (CLEAN_MAKO, CLEAN_RICH) if row["name"] in {pin.requirement.name for pin in lock})
        )

    monkeypatch.setattr(audit, "_pip_audit", answering)
    mako, _ = LOCK
    assert audit.audit([mako]) == Audit(1, (), ())
