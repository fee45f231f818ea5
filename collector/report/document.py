"""`report.json`: the result as data for other people's scripts. The names and their meaning are a contract."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from collector.finding import Evidence, Finding
from collector.ordering import Step
from collector.report.visible import encodable_data
from collector.report.wording import iso, source
from collector.result import MemberResult, PairResult, Result
from collector.targets import TargetResult, Targets
from inventory.explaining import Setting
from inventory.waivers import Waiver

SCHEMA = 1


def document(result: Result) -> dict[str, Any]:
    """The result as JSON-ready data: times in ISO 8601 with their offset, texts that UTF-8 can encode.

    Keys may be added while `schema` stays 1; none changes its meaning or goes away.
    """
    return _document(result, result.pairs)


def pieces(result: Result) -> Iterator[str]:
    """The text of `report.json`, pair by pair."""
    # The pairs come last, so that theirs is the last list.
    before, after = _text(_document(result, ())).rsplit("[]", 1)
    yield f"{before}["
    for number, each in enumerate(result.pairs):
        yield (",\n" if number else "\n") + "    " + _text(pair(each)).replace("\n", "\n    ")
    yield ("\n  ]" if result.pairs else "]") + f"{after}\n"


def _text(data: dict[str, Any]) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False)


def _document(result: Result, pairs: Sequence[PairResult]) -> dict[str, Any]:
    data: dict[str, Any] = encodable_data(
        {
            "schema": SCHEMA,
            "tool": "readypair",
            "started": iso(result.started),
            "finished": iso(result.finished),
            "inventory": result.inventory,
            "ended": result.ended.value,
            "notes": list(result.notes),
            "pairs": [_pair(pair) for pair in pairs],
        }
    )
    return data


def pair(result: PairResult) -> dict[str, Any]:
    """One pair as it stands in `report.json`."""
    data: dict[str, Any] = encodable_data(_pair(result))
    return data


def targets(found: Targets) -> dict[str, Any]:
    """What `readypair targets` tells, as JSON-ready data; a target's `result` is as in `report.json`."""
    data: dict[str, Any] = encodable_data(
        {
            "schema": SCHEMA,
            "tool": "readypair",
            "started": iso(found.started),
            "finished": iso(found.finished),
            "inventory": found.inventory,
            "notes": list(found.notes),
            "pair": found.planned.pair.name,
            "site": found.planned.pair.site,
            "target_release": found.planned.target_release,
            "members": [_member(member) for member in found.planned.members],
            "targets": [_target(target) for target in found.targets],
        }
    )
    return data


def policy(file: Path, settings: Sequence[Setting], warnings: Sequence[str]) -> dict[str, Any]:
    """What `readypair policy` tells, as JSON-ready data; `line` is null for a built-in default."""
    rows = [
        {"key": each.key, "value": each.value, "line": each.line, "source": source(each, file)} for each in settings
    ]
    data: dict[str, Any] = encodable_data(
        {"schema": SCHEMA, "tool": "readypair", "file": str(file), "settings": rows, "warnings": list(warnings)}
    )
    return data


def _target(target: TargetResult) -> dict[str, Any]:
    return {
        "target": target.target,
        "verdict": target.verdict.value,
        "path": list(target.path),
        "blocks": list(target.blocks),
        "notes": list(target.notes),
        "result": _pair(target.result) if target.result else None,
    }


def _pair(result: PairResult) -> dict[str, Any]:
    image, window = result.pair.image, result.pair.window
    return {
        "pair": result.pair.name,
        "site": result.pair.site,
        "verdict": result.verdict.value,
        "in_time": result.in_time,
        "target_release": result.target_release,
        "image": {"file": image.file, "bytes": image.bytes} if image else None,
        "window": {"start": iso(window.start), "minutes": window.minutes} if window else None,
        "members": [_member(member) for member in result.members],
        "steps": [_step(step) for step in result.steps],
        "left_unknown": list(result.left_unknown),
        "findings": [_finding(finding) for finding in result.findings],
    }


def _member(member: MemberResult) -> dict[str, Any]:
    return {
        "name": member.name,
        "role": member.role,
        "reached": member.reached,
        "release": member.release,
        "unreached_because": member.unreached_because,
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "title": finding.title,
        "status": finding.status.value,
        "statement": finding.statement,
        "remedy": finding.remedy,
        "weight": finding.weight,
        "weighed": finding.weighed,
        "evidence": [_evidence(evidence) for evidence in finding.evidence],
        "why": finding.why,
        "waiver": _waiver(finding.waiver) if finding.waiver else None,
    }


def _waiver(waiver: Waiver) -> dict[str, Any]:
    return {"who": waiver.who, "why": waiver.why, "until": waiver.until.isoformat()}


def _step(step: Step) -> dict[str, Any]:
    return {
        "rule": step.rule,
        "remedy": step.remedy,
        "when": step.when.value,
        "disruptive": step.disruptive,
        "after": list(step.after),
    }


def _evidence(evidence: Evidence) -> dict[str, Any]:
    return {
        "member": evidence.member,
        "command": evidence.command,
        "numbers": list(evidence.numbers),
        "lines": list(evidence.lines),
    }
