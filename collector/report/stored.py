"""A pair of `report.json`, read back: what a store kept of a night, for the pages to show as the report did."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from collector.finding import Evidence, Finding, Status, Verdict
from collector.nights.night import PairState
from collector.ordering import Step, When
from collector.result import MemberResult, PairResult
from inventory.pairs import Image, Member, Pair, Window
from inventory.waivers import Waiver


def pair_result(data: Mapping[str, Any], state: PairState) -> PairResult:
    """The pair's result as `document` wrote it; `state` is what was kept of the same judgement.

    A report holds no addresses: those of the members are empty. Raises KeyError, TypeError or ValueError for what isn't
    such a pair.
    """
    members = tuple(_member(each) for each in data["members"])
    first, second = members
    return PairResult(
        pair=_pair(data, (first.name, second.name)),
        verdict=Verdict(data["verdict"]),
        target_release=data["target_release"],
        members=(first, second),
        findings=tuple(_finding(each, data["pair"], state) for each in data["findings"]),
        steps=tuple(_step(each) for each in data.get("steps", ())),
        left_unknown=tuple(data.get("left_unknown", ())),
        in_time=data.get("in_time", True),
    )


def _pair(data: Mapping[str, Any], names: tuple[str, str]) -> Pair:
    image, window = data.get("image"), data.get("window")
    first, second = (Member(name, hostname="", port=0) for name in names)
    return Pair(
        name=data["pair"],
        site=data["site"],
        members=(first, second),
        target_release=data["target_release"],
        image=Image(image["file"], image["bytes"]) if image else None,
        window=Window(datetime.fromisoformat(window["start"]), window["minutes"]) if window else None,
    )


def _member(data: Mapping[str, Any]) -> MemberResult:
    return MemberResult(
        data["name"], data["role"], data["reached"], data["release"], data.get("unreached_because") or None
    )


def _finding(data: Mapping[str, Any], pair: str, state: PairState) -> Finding:
    rule, waiver = data["rule"], data["waiver"]
    kept = state.rules.get(rule)
    return Finding(
        rule=rule,
        title=data.get("title", ""),
        status=Status(data["status"]),
        statement=data["statement"],
        remedy=data["remedy"],
        evidence=tuple(_evidence(each) for each in data["evidence"]),
        weight=data.get("weight", "block"),
        weighed=data.get("weighed"),
        why=data.get("why", ""),
        waiver=_waiver(waiver, pair, rule) if waiver else None,
        # A report doesn't say that something beside a block isn't known. A waived block decides for no other reason.
        unsure=waiver is not None and kept is not None and kept.decides,
    )


def _evidence(data: Mapping[str, Any]) -> Evidence:
    return Evidence(data["member"], data["command"], tuple(data["numbers"]), tuple(data["lines"]))


def _waiver(data: Mapping[str, Any], pair: str, rule: str) -> Waiver:
    return Waiver(pair, rule, data["who"], data["why"], _until(data["until"]))


def _until(text: str) -> date:
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)


def _step(data: Mapping[str, Any]) -> Step:
    return Step(data["rule"], data["remedy"], When(data["when"]), data["disruptive"], tuple(data.get("after", ())))
