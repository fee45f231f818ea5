"""`plan.json`: plans as data for other people's scripts. The names and their meaning are a contract.

Moments are ISO 8601 with their offset from UTC, durations are seconds (their names end in `_seconds`, or they stand in
an `estimate`), sizes are bytes, rates 10^6 bit/s. What isn't known is null.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from typing import Any

from collector.campaigning import CampaignPlan, Step
from collector.plan.plan import Plan, Stage
from collector.planned import PairPlan
from collector.report.plan_wording import outcome
from collector.report.visible import encodable
from collector.report.wording import iso

SCHEMA = 1


def document(plans: Sequence[PairPlan], inventory: str, campaign: CampaignPlan | None = None) -> dict[str, Any]:
    """The plans as JSON-ready data. Keys may be added while `schema` stays 1; none changes its meaning or goes away."""
    return {
        "schema": SCHEMA,
        "tool": "readypair",
        "inventory": encodable(inventory),
        "campaign": _campaign(campaign) if campaign is not None else None,
        "plans": list(map(_planned, plans)),
    }


def _campaign(found: CampaignPlan) -> dict[str, Any]:
    return {
        "answer": found.campaign.answer.name.lower().replace("_", "-"),
        "statement": outcome(found),
        "nights_taken": found.campaign.nights,
        "bound": found.campaign.bound,
        "complete": found.complete,
        "nights": [
            {
                "name": encodable(each.night.name),
                "start": iso(each.night.window.start),
                "minutes": each.night.window.minutes,
                "people": each.night.people,
                "shifts": plain(each.night.shifts),
                "upgrades": [_step(step) for step in each.steps],
            }
            for each in found.nights
        ],
        "left": [{"pair": encodable(each.pair.name), "why": encodable(each.why)} for each in found.left],
        "clash": [encodable(sentence) for sentence in found.clash],
    }


def _step(step: Step) -> dict[str, Any]:
    upgrade = step.upgrade
    return {
        "upgrade": encodable(upgrade.name),
        "pair": encodable(step.pair.name),
        "to": step.to,
        "seconds": upgrade.lasts.total_seconds(),
        "blocked": upgrade.blocked,
        "after": [encodable(name) for name in upgrade.after],
    }


def _planned(found: PairPlan) -> dict[str, Any]:
    plan = found.plan
    told = {field.name: plain(getattr(plan, field.name)) for field in fields(Plan) if field.name not in _OTHERWISE}
    return {
        "pair": encodable(plan.pair.name),
        "site": encodable(plan.pair.site),
        "target_release": plan.pair.target_release,
        "standing": found.standing.value,
        "verdict": found.ready.verdict.value,
        "deciding": [finding.rule for finding in found.ready.findings if finding.decides],
        "fits": plan.times.fits if plan.times is not None else None,
        "blocked": plan.blocked,
        **told,
        "stages": [_stage(stage) for stage in plan.stages],
    }


_OTHERWISE = ("pair", "stages")


def _stage(stage: Stage) -> dict[str, Any]:
    told: dict[str, Any] = plain(stage)
    told["needed"] = not stage.skipped
    return told


def plain(value: Any) -> Any:
    """A dataclass, with all that is in it, as JSON-ready data under its own field names."""
    if isinstance(value, datetime):
        return iso(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, str):
        return encodable(value)
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {encodable(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list | frozenset):
        return [plain(item) for item in value]
    return value
