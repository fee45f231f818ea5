"""headroom: are the control processors' load and memory under the policy's ceilings on both members?

A processor's load is the mean over its cores of the time that they weren't idle: one busy core among many is no
sign of a busy controller. Load averages count waiting jobs, so they have no ceiling in per cent and are told beside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from collector.finding import Answer, Evidence, Status
from collector.rules.ap_tables import capped
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import hear_each, listed, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.resources import ControlProcessor, ControlProcessors, PlatformResources, ProcessorCore, Resource

_BRIEF, _RESOURCES = "show platform software status control-processor brief", "show platform resources"
_QUESTION = "whether there is room to work"
_REMEDY = (
    "Find out what keeps that controller busy (a debug left on, a flood of joins, a leak) and end it by the vendor's "
    "procedure before the window, during which each member serves alone. Restarting a process or a controller can "
    "drop clients: agree it through your change process and, where lives depend on the network, with the people who "
    "run the ward."
)
_PROCESSOR, _MEMORY = "control processor", "dram"
_STATES = {"W": "Warning", "C": "Critical"}


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Every processor in each member's two answers; what one tells beyond itself counts as well."""
    brief = hear_each(snapshot, [_BRIEF], ControlProcessors, _QUESTION, stand_in=False)
    resources = hear_each(snapshot, [_RESOURCES], PlatformResources, _QUESTION, stand_in=False)
    names = listed(member.name for member in snapshot.members)
    ceilings = f"{policy.load_ceiling_percent:g} % of load and {policy.memory_ceiling_percent:g} % of memory"
    parts = [Part(Status.PASS, f"The control processors of {names} are under the ceilings of {ceilings}")]
    for item in brief.readings:
        parts += _processors(item, policy)
    for table in resources.readings:
        parts += _table(table, policy)
    return answer([*parts, *brief.parts, *resources.parts])


def _processors(reading: Reading[ControlProcessors], policy: Policy) -> Iterator[Part]:
    processors, cores = (reading.facts.processors, reading.facts.cores) if reading.facts is not None else ((), ())
    slots = dict.fromkeys([item.slot for item in processors] + [core.slot for core in cores])
    if not slots:
        yield unknown(f"`{_BRIEF}` on {reading.member} shows no control processor")
    for slot in slots:
        own = [processor for processor in processors if processor.slot == slot]
        yield from _load(reading, slot, [core for core in cores if core.slot == slot], own, policy)
        if not own:
            yield unknown(f"the state and memory of {slot} on {reading.member} aren't shown")
        for processor in own:
            yield from _memory(reading, processor, policy)


def _load(
    reading: Reading[ControlProcessors],
    slot: str,
    cores: Sequence[ProcessorCore],
    processors: Sequence[ControlProcessor],
    policy: Policy,
) -> Iterator[Part]:
    evidence = capped(reading.evidence(lines=tuple(core.at for core in cores)))
    numbers = {core.number for core in cores}
    if not numbers or max(numbers) - min(numbers) + 1 != len(numbers):
        yield unknown(f"the load of {slot} on {reading.member} isn't known: not all of its cores are shown", evidence)
    if cores:
        load = 100 - sum(core.idle_percent for core in cores) / len(cores)
        averages = "".join(_averages(processor) for processor in processors)
        where = f"{slot} on {reading.member}"
        yield _under(f"the load of {where}", load, policy.load_ceiling_percent, evidence, averages)


def _averages(processor: ControlProcessor) -> str:
    loads = (processor.load_1_minute, processor.load_5_minutes, processor.load_15_minutes)
    shown = [f"{load:g}" for load in loads if load is not None]
    return f", load averages {' '.join(shown)}" if shown else ""


def _memory(reading: Reading[ControlProcessors], processor: ControlProcessor, policy: Policy) -> Iterator[Part]:
    evidence = capped(reading.evidence(lines=processor.at))
    where = f"{processor.slot} on {reading.member}"
    for what, status in (("state", processor.status), ("state of the memory", processor.memory_status)):
        if status is None:
            yield unknown(f"the {what} of {where} isn't shown", evidence)
        elif status.strip().lower() == "healthy":
            yield quiet(*evidence)
        elif status.strip().lower() in ("warning", "critical"):
            yield Part(Status.BLOCK, f"the {what} of {where} is {status.strip()}", evidence, _REMEDY)
        else:
            yield unknown(f"the {what} of {where} is {status.strip()}, which may mean anything", evidence)
    if processor.memory_used_percent is None:
        yield unknown(f"the memory that {where} uses isn't shown", evidence)
    else:
        used, ceiling = processor.memory_used_percent, policy.memory_ceiling_percent
        yield _under(f"the memory in use of {where}", used, ceiling, evidence)


def _table(reading: Reading[PlatformResources], policy: Policy) -> Iterator[Part]:
    rows = reading.facts.resources if reading.facts is not None else ()
    for wanted, title, ceiling in (
        (_PROCESSOR, "control processor", policy.load_ceiling_percent),
        (_MEMORY, "memory (DRAM)", policy.memory_ceiling_percent),
    ):
        found = [row for row in rows if " ".join(row.name.lower().split()) == wanted]
        if not found:
            yield unknown(f"`{_RESOURCES}` on {reading.member} doesn't show the {title}")
        for row in found:
            yield from _resource(reading, row, f"the {title} of {row.component} on {reading.member}", ceiling)


def _resource(reading: Reading[PlatformResources], row: Resource, what: str, ceiling: float) -> Iterator[Part]:
    evidence = reading.evidence(lines=(row.at,))
    letter = (row.state or "").strip().upper()
    if letter in _STATES:
        yield Part(Status.BLOCK, f"{what} is marked {letter} ({_STATES[letter]})", evidence, _REMEDY)
    elif letter != "H":
        yield unknown(f"the state of {what} isn't shown", evidence)
    if row.usage_percent is None:
        yield unknown(f"the use of {what} isn't shown", evidence)
    else:
        yield _under(f"the use of {what}", row.usage_percent, ceiling, evidence)


def _under(what: str, percent: float, ceiling: float, evidence: tuple[Evidence, ...], beside: str = "") -> Part:
    if percent < ceiling:
        return quiet(*evidence)
    return Part(Status.BLOCK, f"{what} is {percent:.3g} %, not under {ceiling:g} %{beside}", evidence, _REMEDY)


RULE = Rule(
    id="headroom",
    title="Have both members' control processors room to work?",
    why="Each member serves the site alone for half of the upgrade, while it loads, compares and synchronises.",
    good="Control Processor       7.40%          100%       80%       90%       H",
    bad="Control Processor      86.20%          100%       80%       90%       W",
    needs=(_BRIEF, _RESOURCES),
    judge=judge,
    weight="caution",
)
