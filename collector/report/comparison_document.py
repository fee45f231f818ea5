"""`comparison.json`: a comparison as data for other people's scripts. The names and their meaning are a contract."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from collector.comparing.comparison import Comparison, Difference, Kind, Side
from collector.comparing.figures import Figures
from collector.finding import Evidence
from collector.report.document import SCHEMA
from collector.report.visible import encodable_data
from collector.report.wording import iso


def document(found: Comparison) -> dict[str, Any]:
    """The comparison as JSON-ready data, every name of every difference in it.

    Keys may be added while `schema` stays 1; none changes its meaning or goes away.
    """
    data: dict[str, Any] = encodable_data(
        {
            "schema": SCHEMA,
            "tool": "readypair",
            "pair": found.pair.name,
            "site": found.pair.site,
            "standing": found.standing.name.lower().replace("_", "-"),
            "target_release": found.target,
            "upgrade": found.upgrade,
            "before": _side(found.before),
            "after": _side(found.after),
            "differences": [_difference(each) for each in found.differences],
        }
    )
    return data


def baseline(taken: Comparison, verdict: str, found: Figures) -> dict[str, Any]:
    """A baseline as JSON-ready data; `lacking` is what isn't known, `faults` what isn't in order already."""
    data: dict[str, Any] = encodable_data(
        {
            "schema": SCHEMA,
            "tool": "readypair",
            "pair": taken.pair.name,
            "site": taken.pair.site,
            "verdict": verdict,
            "taken": _side(taken.before),
            "figures": asdict(found),
            "lacking": [_difference(each) for each in taken.of_kind(Kind.UNKNOWN)],
            "faults": [_difference(each) for each in taken.of_kind(Kind.FAULT)],
        }
    )
    return data


def _side(side: Side) -> dict[str, Any]:
    return {
        "moment": iso(side.moment),
        "members": [
            {"name": each.name, "role": each.role, "release": each.release, "reached": each.reached}
            for each in side.members
        ],
    }


def _difference(each: Difference) -> dict[str, Any]:
    return {
        "topic": each.topic.value,
        "kind": each.kind.value,
        "statement": each.statement,
        "names": list(each.names),
        "remedy": each.remedy,
        "before": _evidence(each.before),
        "after": _evidence(each.after),
    }


def _evidence(evidence: Sequence[Evidence]) -> list[dict[str, Any]]:
    return [
        {
            "member": each.member,
            "command": each.command,
            "numbers": list(each.numbers),
            "lines": list(each.lines),
        }
        for each in evidence
    ]
