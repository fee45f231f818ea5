"""Masking changes no verdict but where a password stands for a fact, and then none to a readier one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from collector.capture import Ending
from collector.finding import Verdict
from collector.masking import maskable, masked
from collector.snapshot import Snapshot
from parsers.facts.access_points import ApSummary
from parsers.facts.software import Version
from tests.damage import pairs
from tests.demo_fleet import judged, with_capture

_GENERATED = 30


def hostile(described: Snapshot) -> Iterator[str]:
    """Passwords that are words of the captures."""
    yield from (described.members[0].name, "Duplex", "ACTIVE", "17.12.4", "17.12.04")
    for member in described.members:
        found = [reading.facts for reading in member.readings.values() if reading.facts is not None]
        for facts in found:
            if isinstance(facts, Version):
                yield from (each for each in (facts.serial, facts.release) if each)
            if isinstance(facts, ApSummary):
                yield from (ap.name for ap in facts.aps[:1])


def with_masks(described: Snapshot, own: frozenset[str]) -> Snapshot:
    """What a sweep with these passwords keeps."""
    for member in described.members:
        for capture in member.captures.values():
            clean = masked(capture, own)
            if clean != capture:
                described = with_capture(described, clean)
    return described


@pytest.mark.parametrize("chunk", range(6))
def test_no_verdict_gets_readier_and_a_changed_one_says_why(chunk: int) -> None:
    for trial in pairs.trials(_GENERATED)[chunk::6]:
        before = judged(trial.snapshot)
        for word in dict.fromkeys(["", *hostile(trial.snapshot)]):
            now = with_masks(trial.snapshot, maskable([word]))
            after = judged(now)
            clashes = [
                capture
                for member in now.members
                for capture in member.captures.values()
                if "readypair's own passwords" in capture.reason
            ]
            told = (trial.name, word, before.verdict, after.verdict)
            assert after.verdict is not Verdict.GO or before.verdict is Verdict.GO, told
            if not clashes:
                assert [(each.rule, each.status) for each in after.findings] == [
                    (each.rule, each.status) for each in before.findings
                ], told
            assert all(capture.ending is Ending.CUT_OFF for capture in clashes)
