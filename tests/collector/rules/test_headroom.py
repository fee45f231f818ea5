from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.headroom import RULE
from parsers.facts.resources import ControlProcessor, ControlProcessors, PlatformResources, ProcessorCore
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

BRIEF, RESOURCES = "show platform software status control-processor brief", "show platform resources"


def judged(second: dict[str, Any] | None = None, first: dict[str, Any] | None = None) -> Answer:
    """The answer where the standby, or the active one, says something else than a healthy one."""
    return RULE.judge(snapshot({**healthy(1), **(first or {})}, {**healthy(2), **(second or {})}), policy())


def brief(*idle: float, numbers: tuple[int, ...] = (), **values: Any) -> dict[str, Any]:
    """The healthy brief with cores that were idle so long (two, at 97.6 %, by default) and values replaced."""
    facts = healthy(1)[BRIEF]
    assert isinstance(facts, ControlProcessors)
    cores = tuple(
        ProcessorCore(slot="RP0", number=numbers[n] if numbers else n, idle_percent=percent, at=12 + n)
        for n, percent in enumerate(idle)
    )
    processor = replace(facts.processors[0], **values)
    return {BRIEF: replace(facts, processors=(processor,), cores=cores or facts.cores)}


def resources(name: str, /, **values: Any) -> dict[str, Any]:
    """The healthy resources with values of one row replaced."""
    facts = healthy(1)[RESOURCES]
    assert isinstance(facts, PlatformResources)
    return {RESOURCES: PlatformResources(resources=tuple(_row(row, name, values) for row in facts.resources))}


def _row(row: Any, name: str, values: dict[str, Any]) -> Any:
    return replace(row, **values) if row.name == name else row


def test_room_on_both_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert "quay-a and quay-b are under the ceilings of 80 % of load and 90 % of memory" in found.statement


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        (brief(20, 20), "the load of RP0 on quay-b is 80 %, not under 80 %, load averages 0.24 0.31 0.29"),
        (brief(0, 39.8), "the load of RP0 on quay-b is 80.1 %"),
        (brief(memory_used_percent=90), "the memory in use of RP0 on quay-b is 90 %, not under 90 %"),
        (brief(status="Critical"), "the state of RP0 on quay-b is Critical"),
        (brief(memory_status="Warning"), "the state of the memory of RP0 on quay-b is Warning"),
        (resources("Control Processor", usage_percent=80), "control processor of RP0 (ok, active) on quay-b is 80 %"),
        (
            resources("DRAM", usage_percent=91.5),
            "memory (DRAM) of RP0 (ok, active) on quay-b is 91.5 %, not under 90 %",
        ),
        (resources("DRAM", state="W"), "memory (DRAM) of RP0 (ok, active) on quay-b is marked W (Warning)"),
        (resources("Control Processor", state="C"), "is marked C (Critical)"),
    ],
)
def test_either_answer_of_the_standby_alone_tells_of_trouble(answers: dict[str, Any], words: str) -> None:
    found = judged(answers)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert {member for member, _ in told(found.evidence)} == {"quay-b"}
    assert "people who run the ward" in found.remedy
    assert judged(first=answers).status is Status.BLOCK


def test_under_the_ceilings_by_little_passes_and_one_busy_core_is_no_busy_processor() -> None:
    assert judged(brief(20.1, 20.1, memory_used_percent=89.9)).status is Status.PASS
    assert judged(brief(0, 99)).status is Status.PASS
    assert judged(resources("DRAM", usage_percent=89.9)).status is Status.PASS


def test_the_ceilings_are_the_policys() -> None:
    low = policy(load_ceiling_percent=2, memory_ceiling_percent=10)
    said = RULE.judge(snapshot(), low).statement
    assert "is 2.4 %, not under 2 %" in said
    assert "is 42 %, not under 10 %" in said


def test_each_processor_of_an_answer_counts() -> None:
    facts = healthy(1)[BRIEF]
    assert isinstance(facts, ControlProcessors)
    busy = ControlProcessor(slot="2-RP0", status="Healthy", memory_status="Healthy", memory_used_percent=95, at=(4,))
    cores = (*facts.cores, ProcessorCore(slot="2-RP0", number=0, idle_percent=1, at=20))
    found = judged(first={BRIEF: ControlProcessors(processors=(*facts.processors, busy), cores=cores)})
    assert "the load of 2-RP0 on quay-a is 99 %" in found.statement
    assert "the memory in use of 2-RP0 on quay-a is 95 %" in found.statement
    assert told(found.evidence) == {("quay-a", BRIEF): (4, 20)}


@pytest.mark.parametrize(
    "answers",
    [
        brief(status=None),
        brief(status="Unknown"),
        brief(memory_status=None),
        brief(memory_used_percent=None),
        brief(97, 97, numbers=(0, 2)),
        {BRIEF: ControlProcessors()},
        {BRIEF: replace(brief()[BRIEF], cores=())},
        {BRIEF: replace(brief()[BRIEF], processors=())},
        {RESOURCES: PlatformResources()},
        resources("DRAM", usage_percent=None),
        resources("DRAM", state=None),
        resources("Control Processor", state="?"),
        resources("DRAM", name="bootflash"),
    ],
)
def test_what_is_not_shown_is_unknown(answers: dict[str, Any]) -> None:
    found = judged(answers)
    assert found.status is Status.UNKNOWN
    assert "quay-b" in found.statement


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
def test_each_member_has_to_tell_both_itself(lost: Lost) -> None:
    for command in (BRIEF, RESOURCES):
        assert judged({command: lost}).status is Status.UNKNOWN
        assert judged(first={command: lost}).status is Status.UNKNOWN
    assert RULE.judge(snapshot(b=unreached()), policy()).status is Status.UNKNOWN


def test_without_one_answer_trouble_in_the_other_still_tells() -> None:
    assert judged({BRIEF: CUT_OFF, **resources("DRAM", state="C")}).status is Status.BLOCK
    assert judged({RESOURCES: CUT_OFF, **brief(0, 0)}).status is Status.BLOCK


@pytest.mark.parametrize(
    "answers",
    [{}, brief(0, 0), brief(status="Critical"), brief(memory_used_percent=95), resources("DRAM", state="C")],
)
def test_no_loss_of_an_answer_or_a_value_makes_it_better(answers: dict[str, Any]) -> None:
    second: Answers = {**healthy(2), **answers}
    assert bettered(RULE, healthy(1), second, policy(), rows=False) == []


@pytest.mark.parametrize("answers", [{}, brief(0, 97), resources("DRAM", state="C")])
def test_no_loss_of_a_row_makes_it_better(answers: dict[str, Any]) -> None:
    """Each kind of row is there once. Of several processors, or of a last core, the loss can't be noticed."""
    assert bettered(RULE, healthy(1), {**healthy(2), **answers}, policy()) == []
