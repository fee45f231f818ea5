"""Every fault that a network has in store, over real SSH: what is said of it, and that nothing is readier for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import dialogue
from collector.finding import Verdict
from collector.result import Ended
from tests.collector.faults import FAULTS, Fault, attempt, undamaged

READINESS = (Verdict.NO_GO, Verdict.UNDECIDED, Verdict.GO)


@pytest.mark.parametrize("fault", FAULTS, ids=str)
def test_a_fault_is_told_and_makes_nobody_readier(
    fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(dialogue, "_PAGER_PATIENCE", 0.1)
    tried = attempt(fault, tmp_path)
    assert tried.ended is Ended.COMPLETE
    assert fault.says in tried.said(fault)
    assert tried.said(fault).count("\n") == 0
    assert tried.faulty.verdict is fault.verdict
    before, beside = undamaged()
    assert (before, beside) == (Verdict.GO, Verdict.GO)
    assert READINESS.index(tried.faulty.verdict) <= READINESS.index(before)
    assert tried.healthy.verdict is beside
    assert all(member.reached for member in tried.healthy.members)


@pytest.mark.parametrize("fault", [fault for fault in FAULTS if fault.verdict is Verdict.GO], ids=str)
def test_a_fault_that_leaves_a_fit_pair_go_leaves_an_unfit_one_no_go(fault: Fault, tmp_path: Path) -> None:
    tried = attempt(fault, tmp_path, unfit=True)
    assert tried.faulty.verdict is Verdict.NO_GO
    assert any(
        "STANDBY COLD" in line for found in tried.faulty.findings for each in found.evidence for line in each.lines
    )
