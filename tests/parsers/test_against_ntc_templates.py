"""Our readers beside an independent one, on every recording of the demo.

Source: ntc-templates, the collection of TextFSM templates from the Python package index. Its templates are strict about
a few lines and about the maker's words, so each text is first brought into the form that they take: lines of which
they know nothing are left out, and where they need the maker's word, it is put in. Nothing that is compared is changed.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

import ntc_templates
import pytest
from ntc_templates.parse import parse_output

from parsers import Facts, Unreadable, read
from parsers.facts.access_points import ApSummary
from parsers.facts.flash import Directory
from parsers.facts.redundancy import Redundancy
from parsers.facts.software import Boot, Version
from parsers.transcript import of

FIXTURES = Path(__file__).parents[2] / "fixtures" / "demo"
COMMANDS = ("show version", "show redundancy", "show boot", "dir", "show ap summary")

F = TypeVar("F", bound=Facts)


def _platform() -> str:
    """The library's key for the family: the only platform that has a template for each of these commands."""
    known: dict[str, set[str]] = defaultdict(set)
    for template in (Path(ntc_templates.__file__).parent / "templates").glob("*.textfsm"):
        for command in COMMANDS:
            slug = command.replace(" ", "_")
            if template.stem.endswith(f"_{slug}"):
                known[template.stem.removesuffix(f"_{slug}")].add(command)
    (platform,) = [name for name, commands in known.items() if commands == set(COMMANDS)]
    return platform


PLATFORM = _platform()
MAKER = PLATFORM.split("_")[0]


def _theirs(command: str, lines: list[str]) -> list[dict[str, Any]]:
    return list(parse_output(platform=PLATFORM, command=command, data="\n".join(lines) + "\n"))


def _recordings(name: str, command: str, facts: type[F]) -> Iterator[tuple[str, F, list[str]]]:
    """Each recording that we can read: the member, our facts, and the answer's lines."""
    for file in sorted(FIXTURES.glob(f"*/{name}.txt")):
        text = file.read_bytes().decode()
        try:
            ours = read(command, text)
        except Unreadable:
            continue
        assert isinstance(ours, facts)
        yield file.parent.name, ours, [line for _, line in of(text).answer]


class Comparison:
    """Counts what was compared, so that nothing compared is no agreement."""

    def __init__(self) -> None:
        self.compared = 0
        self.differences: list[str] = []

    def agree(self, what: str, ours: object, theirs: object) -> None:
        self.compared += 1
        if ours != theirs:
            self.differences.append(f"{what}: ours {ours!r}, theirs {theirs!r}")

    def settle(self, least: int) -> None:
        assert self.differences == []
        assert self.compared >= least


@pytest.fixture
def comparison() -> Comparison:
    return Comparison()


def test_the_platform_is_found() -> None:
    assert len(PLATFORM.split("_")) == 2


def test_show_version(comparison: Comparison) -> None:
    for member, ours, lines in _recordings("show_version", "show version", Version):
        fed = [re.sub(r"^[a-z]+(?= \S+ \(\S+\) processor )", MAKER, line) for line in lines]
        (theirs,) = _theirs("show version", fed)
        comparison.agree(f"{member} release", ours.release, theirs["version"])
        comparison.agree(f"{member} model", [ours.model], theirs["hardware"])
        comparison.agree(f"{member} serial", [ours.serial], theirs["serial"])
        comparison.agree(f"{member} image", (ours.image_file or "").partition(":")[2], theirs["running_image"])
        comparison.agree(f"{member} reload", ours.last_reload_reason, theirs["reload_reason"])
        comparison.agree(f"{member} uptime", ours.uptime_seconds, _seconds(theirs))
    comparison.settle(200)


def _seconds(theirs: dict[str, str]) -> int:
    weeks, days, hours, minutes = (int(theirs[f"uptime_{unit}"] or 0) for unit in ("weeks", "days", "hours", "minutes"))
    assert not theirs["uptime_years"]
    return ((weeks * 7 + days) * 24 + hours) * 3600 + minutes * 60


_UNKNOWN_TO_THEM = ("Recovery mode", "Technical Support", "Fast Switchover", "Initial Garp", "Image Version")


def test_show_redundancy(comparison: Comparison) -> None:
    for member, ours, lines in _recordings("show_redundancy", "show redundancy", Redundancy):
        (theirs,) = _theirs("show redundancy", _shown_redundancy(lines))
        comparison.agree(f"{member} hardware mode", ours.hardware_mode, theirs["hardware_mode"])
        comparison.agree(f"{member} configured", ours.configured_mode, theirs["configured_redundancy_mode"])
        comparison.agree(f"{member} operating", ours.operating_mode, theirs["operating_redundancy_mode"])
        comparison.agree(f"{member} switchovers", str(ours.switchovers), theirs["switchovers"])
        comparison.agree(f"{member} failures", str(ours.standby_failures), theirs["standby_failures"])
        comparison.agree(f"{member} reason", ours.last_switchover_reason, theirs["last_switchover_reason"])
        link = theirs["communication_status"].split()[0].lower()
        comparison.agree(f"{member} communications", ours.communications, link)
        for who, state, slot, place, name in (
            (ours.this, "active_software_state", "active_slot", "active_boot_directory", "active_boot_file"),
            (ours.peer, "standby_software_state", "standby_slot", "standby_boot_directory", "standby_boot_file"),
        ):
            if who is None or not theirs[slot]:
                continue
            comparison.agree(f"{member} {state}", who.state, theirs[state])
            comparison.agree(f"{member} {slot}", (who.location or "").removeprefix("slot "), theirs[slot])
            boot = f"{theirs[place]}:{theirs[name]}"
            comparison.agree(f"{member} {name}", who.boot, _entries(boot))
    comparison.settle(300)


def _shown_redundancy(lines: list[str]) -> list[str]:
    """What their template takes: lines `name = value` and titles, and the current processor called the active one."""
    kept = [line for line in lines if "=" in line or line.startswith(("Peer Processor", "Current", "Redundant", "-"))]
    named = [line for line in kept if not line.startswith(_UNKNOWN_TO_THEM)]
    peer = next((place for place, line in enumerate(named) if line.startswith("Peer")), len(named))
    swap = {"Standby Location": "Active Location", "Active Location": "Standby Location"}
    return [
        line if (place < peer) is line.startswith("Active") else _renamed(line, swap)
        for place, line in enumerate(named)
    ]


def _renamed(line: str, names: dict[str, str]) -> str:
    return next((line.replace(old, new, 1) for old, new in names.items() if line.startswith(old)), line)


def _entries(value: str) -> tuple[str, ...]:
    return tuple(re.sub(r",\d+$", "", entry) for entry in value.split(";") if entry)


def test_show_boot(comparison: Comparison) -> None:
    for member, ours, lines in _recordings("show_boot", "show boot", Boot):
        for whose, boot in (("", ours.boot), ("Standby ", ours.peer_boot)):
            own = [line.removeprefix(whose) for line in lines if line.startswith(f"{whose}BOOT variable")]
            if boot is None:
                continue
            (theirs,) = _theirs("show boot", own)
            comparison.agree(f"{member} {whose}boot", boot, _entries(theirs["boot_path"]))
        manual = [line for line in lines if line.startswith("MANUAL_BOOT variable")]
        if manual:
            (theirs,) = _theirs("show boot", [manual[0].replace("MANUAL_BOOT variable", "Manual Boot")])
            comparison.agree(f"{member} manual boot", ours.manual_boot, theirs["manual_boot"] == "yes")
    comparison.settle(80)


@pytest.mark.parametrize("name", ["bootflash", "stby-bootflash"])
def test_dir(comparison: Comparison, name: str) -> None:
    slug = name.replace("-", "_")
    for member, ours, lines in _recordings(f"dir_{slug}", f"dir {name}:", Directory):
        theirs = _theirs("dir", lines)
        comparison.agree(f"{member} total", {str(ours.bytes_total)}, {row["total_size"] for row in theirs})
        comparison.agree(f"{member} free", {str(ours.bytes_free)}, {row["total_free"] for row in theirs})
        files = [(row["name"], int(row["size"])) for row in theirs if not row["permissions"].startswith("d")]
        # Theirs takes the last word for the name of a file whose name has several.
        own = [(file.name.split()[-1], file.bytes) for file in ours.files or ()]
        comparison.agree(f"{member} files", own, files)
    comparison.settle(60)


def test_show_ap_summary(comparison: Comparison) -> None:
    for member, ours, lines in _recordings("show_ap_summary", "show ap summary", ApSummary):
        # Theirs takes no name of several words and no empty column.
        full = [
            ap for ap in ours.aps if " " not in ap.name and None not in (ap.slots, ap.model, ap.location, ap.country)
        ]
        rows = {ap.ethernet_mac for ap in ours.aps} - {ap.ethernet_mac for ap in full}
        fed = [line for line in lines if not any(str(mac) in line for mac in rows)]
        theirs = _theirs("show ap summary", fed)
        comparison.agree(f"{member} rows", len(full), len(theirs))
        for ap, row in zip(full, theirs, strict=False):
            comparison.agree(
                f"{member} {ap.name}",
                [
                    ap.name,
                    str(ap.slots),
                    ap.model,
                    ap.ethernet_mac,
                    ap.radio_mac,
                    ap.location,
                    ap.country,
                    ap.ip,
                    ap.state,
                ],
                [
                    row[key]
                    for key in (
                        *("ap_name", "slot", "ap_model", "mac_address", "radio_mac"),
                        *("location", "country", "ip_address", "state"),
                    )
                ],
            )
    comparison.settle(200)


def test_a_difference_is_seen(comparison: Comparison) -> None:
    comparison.agree("the release", "17.9.4", "17.9.4a")
    with pytest.raises(AssertionError):
        comparison.settle(1)


def test_nothing_compared_is_no_agreement(comparison: Comparison) -> None:
    with pytest.raises(AssertionError):
        comparison.settle(1)
