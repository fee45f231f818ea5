"""config-sync: is the configuration the same on both members?"""

from __future__ import annotations

from collections.abc import Sequence

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, quiet, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.redundancy import ConfigSync

_LISTS = {
    "show redundancy config-sync failures mcl": "the mismatched-command list",
    "show redundancy config-sync failures bem": "the list of best-effort failures",
    "show redundancy config-sync failures prc": "the list of parser-return failures",
    "show redundancy config-sync ignored failures mcl": "the ignored mismatched-command list",
}
_REMEDY = (
    "Find out why the standby didn't take these lines, mend or remove them on the active controller, and let the pair "
    "synchronise by the vendor's procedure, then check again. A change of configuration can drop clients and a resync "
    "reloads the standby: agree it through your change process and, where lives depend on the network, with the people "
    "who run the ward."
)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The four lists of each session; every one has to be said to be empty."""
    return told(snapshot, tuple(_LISTS))


def told(snapshot: Snapshot, commands: Sequence[str]) -> Answer:
    """Some of the four lists, by their commands."""
    heard = hear_each(snapshot, commands, ConfigSync, "whether the configuration is synchronised")
    first, second = (member.name for member in snapshot.members)
    summary = Part(Status.PASS, f"All lists of configuration that didn't synchronise are empty on {first} and {second}")
    return answer([summary, *attributed((item.member, _emptiness(item)) for item in heard.readings), *heard.parts])


def _emptiness(reading: Reading[ConfigSync]) -> Part:
    facts = reading.facts
    evidence = reading.evidence("empty", "lines")
    if facts is not None and (facts.empty is False or facts.lines):
        clause = f"{_LISTS[reading.command]} isn't empty: {_amount(facts.lines)}"
        return Part(Status.BLOCK, clause, evidence, _REMEDY)
    if facts is None or facts.empty is None:
        return unknown(f"`{reading.command}` on {reading.member} doesn't say whether the list is empty", evidence)
    return quiet(*evidence)


def _amount(lines: tuple[str, ...]) -> str:
    if not lines:
        return "its lines couldn't be read"
    if len(lines) == 1:
        return f"1 line, `{lines[0]}`"
    # What the list says about itself tells nobody which command it is about.
    first = next((line for line in lines if not line.startswith("!") and "Config Sync:" not in line), lines[0])
    return f"{len(lines)} lines, the first of them `{first}`"


RULE = Rule(
    id="config-sync",
    title="Is the configuration synchronised?",
    why="A line that the standby never took is lost at the switchover, or makes the standby reload during it.",
    good="The list is Empty",
    bad="- channel-group 7 mode active",
    # Who may stand in for the other one follows from the roles.
    needs=(*_LISTS, "show redundancy", "show chassis rmi"),
    judge=judge,
)
