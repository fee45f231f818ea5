"""rom-monitor: is the ROM monitor new enough on both members?"""

from __future__ import annotations

from collections.abc import Sequence

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.roles import Role, role
from collector.rules.rule import Rule
from collector.rules.witnesses import Judge, Word, hear, unassigned, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.software import RomMonitorVersion, Version
from parsers.release import RomMonitor

_ROLES: tuple[Role, Role] = ("active", "standby")
_REMEDY = (
    "Upgrade the ROM monitor by the vendor's procedure before the window. It reloads the controller, can drop clients, "
    "and must not lose power on the way: agree it through your change process and, where lives depend on the network, "
    "with the people who run the ward."
)
_DIFFERENT = "Plan to bring both members to the same ROM monitor, by the vendor's procedure, in a window of its own."
_NOT_LISTED = "Add the model to the policy's hardware, with its kind and the minimum that the vendor publishes."


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each chassis' version against the minimum of its own model, then the two versions against each other."""
    models = [
        word(member, member.read("show version", Version), lambda facts: facts.model, "model")
        for member in snapshot.members
    ]
    said = {name: _words(snapshot, name) for name in _ROLES}
    parts: list[Part] = []
    compared: list[Word[RomMonitor]] = []
    for member, model in zip(snapshot.members, models, strict=True):
        row = policy.hardware_of(model.value) if model.value is not None else None
        if row is not None and row.kind == "virtual":
            clause = f"{member.name} is virtual and has no ROM monitor that matters"
            parts.append(Part(Status.NOT_APPLICABLE, clause, model.evidence))
            continue
        words = [item for items in said.values() for item in items if item.about == member.name]
        compared += words
        if row is None:
            parts.append(_no_minimum(model))
        if not words:
            clause = f"{member.name}'s ROM monitor isn't known, since it isn't known which member is active"
            parts.append(Part(Status.UNKNOWN, clause))
            continue
        first, *others = words
        parts += hear("ROM monitor", first, others, _new_enough(row.rom_monitor_minimum if row else None))
    parts += _differing(compared)
    parts += unassigned(
        [item for items in said.values() for item in items], snapshot, _new_enough(_shared_minimum(models, policy))
    )
    return answer(parts)


def _words(snapshot: Snapshot, chassis: Role) -> list[Word[RomMonitor]]:
    """What both sessions say of the chassis with this role, the active one's first: it is the one that can tell both.

    A standby's session may refuse, but what it was asked and isn't there is missed. Where the roles aren't known, the
    words are about the role.
    """
    owner = next((member for member in snapshot.members if role(snapshot, member) == chassis), None)
    active_first = sorted(snapshot.members, key=lambda member: role(snapshot, member) != "active")
    return [_word(speaker, chassis, owner) for speaker in active_first]


def _word(speaker: MemberSnapshot, chassis: Role, owner: MemberSnapshot | None) -> Word[RomMonitor]:
    return word(
        speaker,
        speaker.read(f"show rom-monitor chassis {chassis} R0", RomMonitorVersion),
        _version,
        "version",
        about=owner.name if owner else f"the {chassis} chassis",
        expected=True,
    )


def _version(facts: RomMonitorVersion) -> RomMonitor | None:
    try:
        return RomMonitor.parse(facts.version or "")
    except ValueError:
        return None


def _no_minimum(model: Word[str]) -> Part:
    if model.value is None:
        clause = f"{model.about}'s model isn't known, so its minimum isn't either: {model.lack}"
        return Part(Status.UNKNOWN, clause)
    clause = f"the policy doesn't list {model.about}'s model {model.value}, so its minimum isn't known"
    return Part(Status.UNKNOWN, clause, model.evidence, _NOT_LISTED)


def _new_enough(minimum: str | None) -> Judge[RomMonitor]:
    def judged(item: Word[RomMonitor], version: RomMonitor) -> Part:
        if minimum is None:
            return Part(Status.PASS, f"{item.about} has ROM monitor {version}", item.evidence)
        if version < RomMonitor.parse(minimum):
            clause = f"{item.about} has ROM monitor {version}, below the minimum {minimum}"
            return Part(Status.BLOCK, clause, item.evidence, _REMEDY)
        clause = f"{item.about} has ROM monitor {version}, the minimum is {minimum}"
        return Part(Status.PASS, clause, item.evidence)

    return judged


def _shared_minimum(models: Sequence[Word[str]], policy: Policy) -> str | None:
    """The minimum that holds for whichever member is meant; None where they have none in common."""
    rows = [policy.hardware_of(model.value) if model.value is not None else None for model in models]
    minimums = {row.rom_monitor_minimum if row is not None else None for row in rows}
    return minimums.pop() if len(minimums) == 1 else None


def _differing(words: Sequence[Word[RomMonitor]]) -> list[Part]:
    said = [item for item in words if item.value is not None]
    if len({item.value for item in said}) < 2:
        return []
    versions = ", ".join(dict.fromkeys(f"{item.about} has {item.value}" for item in said))
    evidence = tuple(line for item in said for line in item.evidence)
    return [Part(Status.CAUTION, f"the ROM monitors differ: {versions}", evidence, _DIFFERENT)]


RULE = Rule(
    id="rom-monitor",
    title="Is the ROM monitor new enough on both members?",
    why="A ROM monitor that is too old may not boot the new release, and the controller stays down.",
    good="System Bootstrap, Version 17.12.1r, RELEASE SOFTWARE",
    bad="System Bootstrap, Version 16.12(2r), RELEASE SOFTWARE",
    needs=("show rom-monitor chassis active R0", "show rom-monitor chassis standby R0", "show version"),
    judge=judge,
)
