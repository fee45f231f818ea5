"""No loss of one capture turns a block into a pass, even where the trouble shows in that capture alone.

On the demo's pairs every output of a pair tells one story; here each trouble is told by one witness and denied by all
others, which is the hardest case for a rule that lets one witness stand in for another.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector import rules
from collector.finding import Status
from parsers.facts.core import Facts
from parsers.facts.flash import Directory
from parsers.facts.redundancy import Processor, Redundancy
from parsers.facts.software import Boot, RomMonitorVersion, Version
from tests.collector.rules.building import CUT_OFF, MISSING, UNREADABLE, Lost, healthy, policy, snapshot

OLD = Processor(state="STANDBY HOT", release="16.12.8", boot=("bootflash:old.bin",))
STANDBY_ROM = "show rom-monitor chassis standby R0"
# Rule, member, command, what is wrong in its answer.
TROUBLES: list[tuple[str, int, str, dict[str, object]]] = [
    ("hardware-support", 2, "show version", {"model": "WX-9100"}),
    ("install-mode", 2, "show version", {"install_mode": "bundle"}),
    ("release-support", 2, "show version", {"release": "16.12.8"}),
    ("release-support", 1, "show redundancy", {"peer": OLD}),
    ("release-support", 2, "show redundancy", {"this": OLD}),
    ("upgrade-path", 2, "show version", {"release": "16.12.8"}),
    ("upgrade-path", 1, "show redundancy", {"peer": OLD}),
    ("boot-variable", 2, "show boot", {"boot": ("bootflash:old.bin",)}),
    ("boot-variable", 2, "show boot", {"manual_boot": True}),
    ("boot-variable", 1, "show boot", {"peer_boot": ("bootflash:old.bin",)}),
    ("boot-variable", 1, "show redundancy", {"peer": OLD}),
    ("boot-variable", 2, "show redundancy", {"this": OLD}),
    ("rom-monitor", 1, STANDBY_ROM, {"version": "16.12(2r)"}),
    ("rom-monitor", 2, STANDBY_ROM, {"version": "16.12(2r)"}),
    ("flash-space", 2, "dir bootflash:", {"bytes_free": 1}),
    ("flash-space", 1, "dir stby-bootflash:", {"bytes_free": 1}),
]


def status(rule: str, number: int, command: str, answer: Facts | Lost) -> Status:
    """What the rule says where one member's answer to one command is another than a healthy one's."""
    answers = [healthy(1), healthy(2)]
    answers[number - 1][command] = answer
    found = {finding.rule: finding.status for finding in rules.judge(snapshot(*answers), policy())}
    return found[rule]


@pytest.mark.parametrize(("rule", "number", "command", "wrong"), TROUBLES)
@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING], ids=["cut off", "unreadable", "missing"])
def test_a_trouble_that_is_told_once_is_never_lost(
    rule: str, number: int, command: str, wrong: dict[str, object], lost: Lost
) -> None:
    said = healthy(number)[command]
    assert isinstance(said, Version | Boot | Redundancy | RomMonitorVersion | Directory)
    assert status(rule, number, command, replace(said, **wrong)) is Status.BLOCK  # type: ignore[arg-type]
    assert status(rule, number, command, lost) is Status.UNKNOWN
