"""Facts about a controller's own processor and memory."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Self

from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class ControlProcessor:
    """One control processor: status as printed, load averages, memory in per cent of the total; `at` are its lines."""

    slot: str
    status: str | None = None
    load_1_minute: float | None = None
    load_5_minutes: float | None = None
    load_15_minutes: float | None = None
    memory_status: str | None = None
    memory_used_percent: float | None = None
    memory_committed_percent: float | None = None
    at: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ProcessorCore:
    """One core of a control processor: the per cent of its time that it was idle; `at` is its line's number."""

    slot: str
    number: int
    idle_percent: float
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ControlProcessors(Facts):
    """`show platform software status control-processor brief`.

    The cores of a slot count from 0 without a gap, so that none is missing before the last one that is shown; cores
    lost at the very end leave no trace but the load averages.
    """

    processors: tuple[ControlProcessor, ...] = ()
    cores: tuple[ProcessorCore, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a line can't be read, where slots or cores are missing, or one is told twice."""
        if matches.unmatched:
            raise Unreadable(f"line {matches.unmatched[0]} of the control processors' state can't be read")
        in_tables = matches.of("load_row", "memory_row", "core_row")
        in_blocks = matches.of("slot", *_IN_BLOCKS)
        if in_tables and in_blocks:
            raise Unreadable("it is neither all tables nor all blocks")
        slots = _slots_of_blocks(in_blocks) if in_blocks else _slots_of_tables(matches)
        if not slots:
            raise Unreadable("it tells of no control processor")
        cores = tuple(core for slot in slots for core in slot.checked_cores())
        processors = tuple(slot.processor() for slot in slots)
        at = {
            "processors": tuple(sorted({number for processor in processors for number in processor.at})),
            "cores": tuple(sorted(core.at for core in cores)),
        }
        return cls(processors=processors, cores=cores, at={name: lines for name, lines in at.items() if lines})


_IN_BLOCKS = ("load_status", "load", "memory_status", "memory", "core", "shares")
_LOADS = {"1": "load_1_minute", "5": "load_5_minutes", "15": "load_15_minutes"}


@dataclass
class _Slot:
    """A slot while it is being read; `core` is the core whose lines come next."""

    name: str
    lines: list[int] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, float | None] = field(default_factory=dict)
    cores: list[ProcessorCore] = field(default_factory=list)
    core: int | None = None

    def put(self, match: Match, **values: str | float | None) -> None:
        """Take the values of one line; Unreadable where an earlier line told one of them already."""
        for name, value in values.items():
            if name in self.texts or name in self.numbers:
                raise Unreadable(f"line {match.at} tells the {name.replace('_', ' ')} of {self.name} a second time")
            if isinstance(value, str):
                self.texts[name] = value
            else:
                self.numbers[name] = value
        self.lines.append(match.at)

    def processor(self) -> ControlProcessor:
        return ControlProcessor(
            slot=self.name,
            status=self.texts.get("status"),
            memory_status=self.texts.get("memory_status"),
            load_1_minute=self.numbers.get("load_1_minute"),
            load_5_minutes=self.numbers.get("load_5_minutes"),
            load_15_minutes=self.numbers.get("load_15_minutes"),
            memory_used_percent=self.numbers.get("memory_used_percent"),
            memory_committed_percent=self.numbers.get("memory_committed_percent"),
            at=tuple(self.lines),
        )

    def checked_cores(self) -> list[ProcessorCore]:
        if self.core is not None:
            raise Unreadable(f"core {self.core} of {self.name} doesn't tell how long it was idle")
        if [core.number for core in self.cores] != list(range(len(self.cores))):
            raise Unreadable(f"the cores of {self.name} don't count from 0 without a gap")
        return self.cores


def _slots_of_tables(matches: Matches) -> list[_Slot]:
    """The slots as the three tables tell of them, each of which must tell of the same ones."""
    tables = _Tables()
    for match in matches.of("core_heading", "load_row", "memory_row", "core_row"):
        tables.take(match)
    told = list(tables.listed.values())
    if any(names != told[0] for names in told):
        raise Unreadable("its tables tell of different slots")
    return list(tables.slots.values())


class _Tables:
    """The three tables while they are being read; `listed` holds the slots that each kind of row names."""

    def __init__(self) -> None:
        self.slots: dict[str, _Slot] = {}
        self.listed: dict[str, set[str]] = {}
        self._core_columns: list[str] = []
        self._core_slot = ""

    def take(self, match: Match) -> None:
        if match.kind == "core_heading":
            self._core_columns = match["columns"].lower().split()
            return
        # Of a slot's cores only the first names it.
        name = " ".join(match["slot"].split()) or self._core_slot
        if not name:
            raise Unreadable(f"line {match.at} tells of a core without saying whose")
        self.listed.setdefault(match.kind, set()).add(name)
        slot = self.slots.setdefault(name, _Slot(name))
        if match.kind == "core_row":
            self._core_slot = name
            slot.cores.append(self._core(match, name))
        elif match.kind == "load_row":
            loads = {_LOADS["1"]: match["one"], _LOADS["5"]: match["five"], _LOADS["15"]: match["fifteen"]}
            slot.put(match, status=match["status"], **{load: float(text) for load, text in loads.items()})
        else:
            used, committed = _percent(match["used"]), _percent(match["committed"])
            slot.put(match, memory_status=match["status"], memory_used_percent=used, memory_committed_percent=committed)

    def _core(self, match: Match, slot: str) -> ProcessorCore:
        shares = dict(zip(self._core_columns, match["shares"].split(), strict=False))
        if len(match["shares"].split()) != len(self._core_columns) or "idle" not in shares:
            raise Unreadable(f"line {match.at} doesn't tell how long a core was idle")
        return ProcessorCore(slot=slot, number=int(match["number"]), idle_percent=float(shares["idle"]), at=match.at)


def _slots_of_blocks(lines: Iterable[Match]) -> list[_Slot]:
    """The slots as their blocks tell of them; a line under no slot or no core makes it unreadable."""
    slots: list[_Slot] = []
    begun: set[str] = set()
    for match in lines:
        if match.kind == "slot":
            name = " ".join(match["slot"].split())
            if name in begun:
                raise Unreadable(f"line {match.at} begins the block of {name} a second time")
            begun.add(name)
            slots.append(_Slot(name, [match.at]))
        elif not slots:
            raise Unreadable(f"line {match.at} stands under no slot")
        else:
            _take(slots[-1], match)
    return slots


def _take(slot: _Slot, match: Match) -> None:
    if match.kind == "load_status":
        slot.put(match, status=match["value"])
    elif match.kind == "memory_status":
        slot.put(match, memory_status=match["value"])
    elif match.kind == "load":
        slot.put(match, **{_LOADS[match["span"].split("-")[0]]: float(match["value"])})
    elif match.kind == "memory" and match["kind"] in ("Used", "Committed"):
        slot.put(match, **{f"memory_{match['kind'].lower()}_percent": _percent(match["percent"])})
    elif match.kind == "core":
        slot.core = int(match["number"])
    elif match.kind == "shares":
        _take_shares(slot, match)


def _take_shares(slot: _Slot, match: Match) -> None:
    shares = {name.lower(): float(value) for name, value in re.findall(r"([A-Za-z]+):[ \t]*([0-9.]+)", match["shares"])}
    if "idle" not in shares:
        return
    if slot.core is None:
        raise Unreadable(f"line {match.at} tells of a core without saying which")
    slot.cores.append(ProcessorCore(slot=slot.name, number=slot.core, idle_percent=shares["idle"], at=match.at))
    slot.core = None


def _percent(text: str) -> float | None:
    found = re.search(r"([0-9.]+)%", text)
    return float(found[1]) if found else None


@dataclass(frozen=True, kw_only=True)
class Resource:
    """One row of `show platform resources`: usage and thresholds in per cent, the state letter; `at` is its line."""

    component: str
    name: str
    usage_percent: float | None = None
    warning_percent: float | None = None
    critical_percent: float | None = None
    state: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class PlatformResources(Facts):
    """`show platform resources`; the component is the heading that a row stands under (`RP0 (ok, active)`)."""

    resources: tuple[Resource, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a line can't be read, a row stands under no component, or a component's trouble in no row.

        A component's letter is that of its worst row: where none of them has it, that row is missing.
        """
        if matches.unmatched:
            raise Unreadable(f"line {matches.unmatched[0]} of the resources can't be read")
        blocks: list[_Component] = []
        for match in matches.of("component", "part", "row"):
            if match.kind == "component":
                blocks.append(_Component(match))
            elif not blocks:
                raise Unreadable(f"line {match.at} stands under no component")
            else:
                blocks[-1].take(match)
        for block in blocks:
            block.check()
        resources = tuple(resource for block in blocks for resource in block.resources)
        if not resources:
            raise Unreadable("it tells of no resource")
        return cls(resources=resources, at={"resources": tuple(resource.at for resource in resources)})


class _Component:
    """A component while it is being read; `_below` holds the letters below it and below each of its parts."""

    def __init__(self, heading: Match) -> None:
        self.name = heading["name"].strip()
        self.resources: list[Resource] = []
        self._below: list[tuple[Match, set[str]]] = [(heading, set())]
        self._own_names: set[str] = set()
        self._part_names: set[str] = set()

    def take(self, match: Match) -> None:
        self._below[0][1].add(match["state"])
        if match.kind == "part":
            self._below.append((match, set()))
            self._part_names.clear()
            return
        name = " ".join(match["name"].split())
        # Two parts may each have a row of one name; a part's row with a name of the component's own is another's.
        if name in self._own_names or name in self._part_names:
            raise Unreadable(f"line {match.at} tells of {name} a second time")
        (self._part_names if len(self._below) > 1 else self._own_names).add(name)
        self._below[-1][1].add(match["state"])
        self.resources.append(
            Resource(
                component=self.name,
                name=name,
                usage_percent=_percent(match["usage"]),
                warning_percent=_percent(match["warning"]),
                critical_percent=_percent(match["critical"]),
                state=match["state"],
                at=match.at,
            )
        )

    def check(self) -> None:
        for match, letters in self._below:
            if not letters:
                raise Unreadable(f"the resources of {match['name'].strip()} are missing")
            if match["state"] not in ("H", *letters):
                raise Unreadable(f"no row shows why {match['name'].strip()} is in state {match['state']}")
