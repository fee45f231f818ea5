"""`show platform software status control-processor brief` in both layouts, and `show platform resources`."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from parsers import Unreadable, read
from parsers.facts.resources import (
    ControlProcessor,
    ControlProcessors,
    PlatformResources,
    ProcessorCore,
    Resource,
)
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

BRIEF = "show platform software status control-processor brief"
RESOURCES = "show platform resources"

TABLES = """\
Load Average
 Slot  Status  1-Min  5-Min 15-Min
1-RP0 Healthy   0.24   0.31   0.29
2-RP0 Warning   8.10   7.20   6.90

Memory (kB)
 Slot  Status    Total     Used (Pct)     Free (Pct) Committed (Pct)
1-RP0 Healthy  7767120  3264536 (42%)  4502584 (58%)   3358720 (43%)
2-RP0 Critical 7767120  7456435 (96%)   310685 ( 4%)   7611777 (98%)

CPU Utilization
 Slot  CPU   User System   Nice   Idle    IRQ   SIRQ IOwait
1-RP0    0   1.50   0.90   0.00  97.60   0.00   0.00   0.00
         1   1.20   0.90   0.00  97.90   0.00   0.00   0.00
2-RP0    0  90.50   5.10   0.00   4.40   0.00   0.00   0.00
         1  80.20   5.10   0.00  14.70   0.00   0.00   0.00
"""
BLOCKS = """\
RP0: online, statistics updated 3 seconds ago
Load Average: healthy
  1-Min: 0.24, status: healthy, under 5.00
  5-Min: 0.31, status: healthy, under 5.00
  15-Min: 0.29, status: healthy, under 5.00
Memory (kb): healthy
  Total: 7767120
  Used: 3264536 (42%)
  Free: 4502584 (58%)
  Committed: 3358720 (43%), under 90%
Per-core Statistics
CPU0: CPU Utilization (percentage of time spent)
  User:  1.50, System:  0.90, Nice:  0.00, Idle: 97.60
  IRQ:  0.00, SIRQ:  0.00, IOwait:  0.00
CPU1: CPU Utilization (percentage of time spent)
  User:  1.20, System:  0.90, Nice:  0.00, Idle: 97.90
  IRQ:  0.00, SIRQ:  0.00, IOwait:  0.00

RP1: online, statistics updated 4 seconds ago
Load Average: warning
  1-Min: 8.10, status: warning, over 5.00
  5-Min: 7.20, status: warning, over 5.00
  15-Min: 6.90, status: warning, over 5.00
Memory (kb): critical
  Total: 7767120
  Used: 7456435 (96%)
  Free: 310685 (4%)
  Committed: 7611777 (98%), over 95%
Per-core Statistics
CPU0: CPU Utilization (percentage of time spent)
  User: 90.50, System:  5.10, Nice:  0.00, Idle:  4.40
  IRQ:  0.00, SIRQ:  0.00, IOwait:  0.00
"""
USAGE = """\
**State Acronym: H - Healthy, W - Warning, C - Critical
Resource                 Usage                 Max             Warning         Critical        State
----------------------------------------------------------------------------------------------------
RP0 (ok, active)                                                                               W
 Control Processor       3.52%                 100%            80%             90%             H
  DRAM                   14216MB(90%)          15709MB         88%             93%             W
  bootflash              3000MB (12%)          24000MB         88%             93%             H
ESP0(ok, active)                                                                               H
 QFP                                                                                           H
  TCAM                   10cells(0%)           65536cells      65%             85%             H
  DRAM                   359299KB(8.5%)        4194304KB       85%             95%             H
  Pkt Buf Mem (0)        N/A                   524288KB        85%             95%             H
"""
ANSWERS = [(BRIEF, TABLES), (BRIEF, BLOCKS), (RESOURCES, USAGE)]


def processors(text: str) -> ControlProcessors:
    facts = read(BRIEF, text)
    assert isinstance(facts, ControlProcessors)
    return facts


def resources(text: str) -> PlatformResources:
    facts = read(RESOURCES, text)
    assert isinstance(facts, PlatformResources)
    return facts


def test_the_tables() -> None:
    facts = processors(TABLES)
    assert facts.processors == (
        ControlProcessor(
            slot="1-RP0",
            status="Healthy",
            load_1_minute=0.24,
            load_5_minutes=0.31,
            load_15_minutes=0.29,
            memory_status="Healthy",
            memory_used_percent=42,
            memory_committed_percent=43,
            at=(3, 8),
        ),
        ControlProcessor(
            slot="2-RP0",
            status="Warning",
            load_1_minute=8.1,
            load_5_minutes=7.2,
            load_15_minutes=6.9,
            memory_status="Critical",
            memory_used_percent=96,
            memory_committed_percent=98,
            at=(4, 9),
        ),
    )
    assert facts.cores == (
        ProcessorCore(slot="1-RP0", number=0, idle_percent=97.6, at=13),
        ProcessorCore(slot="1-RP0", number=1, idle_percent=97.9, at=14),
        ProcessorCore(slot="2-RP0", number=0, idle_percent=4.4, at=15),
        ProcessorCore(slot="2-RP0", number=1, idle_percent=14.7, at=16),
    )
    assert facts.at == {"processors": (3, 4, 8, 9), "cores": (13, 14, 15, 16)}


def test_the_blocks() -> None:
    facts = processors(BLOCKS)
    first, second = facts.processors
    assert first == ControlProcessor(
        slot="RP0",
        status="healthy",
        load_1_minute=0.24,
        load_5_minutes=0.31,
        load_15_minutes=0.29,
        memory_status="healthy",
        memory_used_percent=42,
        memory_committed_percent=43,
        at=(1, 2, 3, 4, 5, 6, 8, 10),
    )
    assert (second.slot, second.status, second.memory_status) == ("RP1", "warning", "critical")
    assert (second.load_1_minute, second.memory_used_percent, second.memory_committed_percent) == (8.1, 96, 98)
    assert facts.cores == (
        ProcessorCore(slot="RP0", number=0, idle_percent=97.6, at=13),
        ProcessorCore(slot="RP0", number=1, idle_percent=97.9, at=16),
        ProcessorCore(slot="RP1", number=0, idle_percent=4.4, at=31),
    )
    assert facts.at["cores"] == (13, 16, 31)


@pytest.mark.parametrize("slot", ["RP0", "ESP0", "chassis 1 RP0", "Chassis 1 R0", "1/RP0"])
def test_any_way_to_name_a_slot(slot: str) -> None:
    facts = processors(TABLES.replace("1-RP0", slot))
    assert [processor.slot for processor in facts.processors] == [slot, "2-RP0"]
    assert [core.slot for core in facts.cores] == [slot, slot, "2-RP0", "2-RP0"]


def test_columns_are_where_the_heading_says() -> None:
    text = TABLES.replace("Nice   Idle", "Idle   Nice")
    assert [core.idle_percent for core in processors(text).cores] == [0, 0, 0, 0]
    assert processors(TABLES.replace("   3358720 (43%)", "")).processors[0].memory_committed_percent is None


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (TABLES.replace("2-RP0 Warning   8.10   7.20   6.90\n", ""), "its tables tell of different slots"),
        (TABLES.replace("8.10", "8~10"), "line 4 of the control processors' state can't be read"),
        (TABLES.replace("2-RP0    0  90", "         0  90"), "its tables tell of different slots"),
        (TABLES.replace("1-RP0    0   1", "         0   1"), "line 13 tells of a core without saying whose"),
        (TABLES.replace("   Idle", "   Idel"), "line 13 doesn't tell how long a core was idle"),
        (TABLES.replace("   4.40   0.00   0.00   0.00", "   4.40   0.00"), "line 15 doesn't tell how long a core was"),
        (
            TABLES.replace("         1   1.20   0.90", "         2   1.20   0.90"),
            "the cores of 1-RP0 don't count from 0",
        ),
        (TABLES + TABLES, "line 17 tells the status of 1-RP0 a second time|line 19 tells the status of 1-RP0"),
        ("Load Average\n Slot  Status  1-Min  5-Min 15-Min\n", "it tells of no control processor"),
        (TABLES + BLOCKS, "it is neither all tables nor all blocks"),
        (BLOCKS.replace("RP0: online, statistics updated 3 seconds ago\n", ""), "line 1 stands under no slot"),
        (
            BLOCKS.replace("RP1: online, statistics updated 4 seconds ago\n", ""),
            "tells the status of RP0 a second time",
        ),
        (BLOCKS.replace("RP1:", "RP0:"), "line 19 begins the block of RP0 a second time"),
        (BLOCKS.replace(", Idle: 97.90", ""), "core 1 of RP0 doesn't tell how long it was idle"),
        (
            BLOCKS.replace("CPU1: CPU Utilization (percentage of time spent)\n", ""),
            "line 15 tells of a core without saying which",
        ),
        (BLOCKS.replace("CPU1:", "CPU2:"), "the cores of RP0 don't count from 0 without a gap"),
        (BLOCKS.replace("1-Min: 8.10, status: warning, over 5.00", "1-Min: 8.1"), "line 21 of the control processors'"),
    ],
)
def test_processors_that_lost_something_are_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        processors(text)


def _damaged(text: str) -> Iterator[tuple[str, str]]:
    yield from cut(text)
    yield from shortened(text)
    yield from garbled(text)


@pytest.mark.parametrize("text", [TABLES, BLOCKS])
def test_no_loss_makes_a_processor_look_better(text: str) -> None:
    before = processors(text)
    known = {processor.slot: processor for processor in before.processors}
    idle = {(core.slot, core.number): core.idle_percent for core in before.cores}
    tried = 0
    for name, damaged in _damaged(text):
        try:
            after = processors(damaged)
        except Unreadable:
            continue
        tried += 1
        for processor in after.processors:
            for field in ("load_1_minute", "load_5_minutes", "memory_used_percent", "memory_committed_percent"):
                # A slot's spoilt name is another name.
                was = known.get(processor.slot)
                assert was is None or getattr(processor, field) in (getattr(was, field), None), name
        assert all(idle.get((core.slot, core.number), core.idle_percent) == core.idle_percent for core in after.cores)
    assert tried > 20


def test_resources_of_each_component() -> None:
    facts = resources(USAGE)
    assert facts.resources == (
        Resource(
            component="RP0 (ok, active)",
            name="Control Processor",
            usage_percent=3.52,
            warning_percent=80,
            critical_percent=90,
            state="H",
            at=5,
        ),
        Resource(
            component="RP0 (ok, active)",
            name="DRAM",
            usage_percent=90,
            warning_percent=88,
            critical_percent=93,
            state="W",
            at=6,
        ),
        Resource(
            component="RP0 (ok, active)",
            name="bootflash",
            usage_percent=12,
            warning_percent=88,
            critical_percent=93,
            state="H",
            at=7,
        ),
        Resource(
            component="ESP0(ok, active)",
            name="TCAM",
            usage_percent=0,
            warning_percent=65,
            critical_percent=85,
            state="H",
            at=10,
        ),
        Resource(
            component="ESP0(ok, active)",
            name="DRAM",
            usage_percent=8.5,
            warning_percent=85,
            critical_percent=95,
            state="H",
            at=11,
        ),
        Resource(
            component="ESP0(ok, active)",
            name="Pkt Buf Mem (0)",
            warning_percent=85,
            critical_percent=95,
            state="H",
            at=12,
        ),
    )
    assert facts.at == {"resources": (5, 6, 7, 10, 11, 12)}


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (USAGE.replace("90%)", "9~%)"), "line 6 of the resources can't be read"),
        (USAGE.replace("RP0 (ok", "R~0 (ok"), "line 4 of the resources can't be read"),
        ("\n".join(USAGE.split("\n")[:3] + USAGE.split("\n")[4:]), "line 4 stands under no component"),
        (USAGE.replace(USAGE.split("\n")[5], ""), r"no row shows why RP0 \(ok, active\) is in state W"),
        (USAGE.replace(USAGE.split("\n")[7] + "\n", ""), "line 10 tells of DRAM a second time"),
        (USAGE.replace("bootflash", "DRAM     "), "line 7 tells of DRAM a second time"),
        ("\n".join(USAGE.split("\n")[:9]), r"the resources of QFP are missing"),
        ("\n".join(USAGE.split("\n")[:8]), r"the resources of ESP0\(ok, active\) are missing"),
        ("\n".join(USAGE.split("\n")[:3]), "it tells of no resource"),
    ],
)
def test_resources_that_lost_something_are_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        resources(text)


def test_a_part_in_trouble_needs_a_row_that_shows_it() -> None:
    lines = USAGE.split("\n")
    lines[7], lines[8] = lines[7][:-1] + "C", lines[8][:-1] + "C"
    with pytest.raises(Unreadable, match="no row shows why QFP is in state C"):
        resources("\n".join(lines))
    lines[9] = lines[9][:-1] + "C"
    assert resources("\n".join(lines)).resources[3].state == "C"


def test_two_parts_may_have_rows_of_one_name() -> None:
    part = USAGE.split("\n")[8:11]
    assert [row.name for row in resources(USAGE + "\n".join(part)).resources][-2:] == ["TCAM", "DRAM"]
    with pytest.raises(Unreadable, match="line 13 tells of DRAM a second time"):
        resources(USAGE + part[2])


def test_no_loss_makes_a_resource_look_better() -> None:
    before = {(row.component, row.name): row for row in resources(USAGE).resources}
    tried = 0
    for name, damaged in _damaged(USAGE):
        try:
            after = resources(damaged).resources
        except Unreadable:
            continue
        tried += 1
        assert any(row.state == "W" for row in after), name
        for row in after:
            was = before.get((row.component, row.name))
            assert was is None or row.usage_percent == was.usage_percent, name
    assert tried > 20


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_every_dress(command: str, text: str) -> None:
    assert_reads_alike(command, text)
