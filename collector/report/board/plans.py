"""The plans beside the board: what `readypair plan --all --out DIR` wrote, for each pair's page to show in short."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, Field, ValidationError

from collector.report.board.folder import BoardError

# The plans' own pages, which the board takes over as they stand.
PAGES = ("plan.html", "procedure.html")


class _Times(BaseModel):
    start: datetime
    p50: datetime
    p90: datetime


class _TurnBack(BaseModel):
    possible: bool
    last_moment: datetime | None


class _Stage(BaseModel):
    title: str
    in_window: bool
    needed: bool
    drops_clients: bool
    times: _Times | None
    turn_back: _TurnBack


class _Plan(BaseModel):
    pair: str
    target_release: str
    standing: str
    made: datetime
    window_start: datetime | None
    window_end: datetime | None
    stages: list[_Stage]


class _Document(BaseModel):
    version: Literal[1] = Field(alias="schema")
    plans: list[_Plan]


@dataclass(frozen=True)
class StageCard:
    """A stage of the window: its moments, None where they couldn't be computed."""

    title: str
    drops_clients: bool
    start: datetime | None
    p50: datetime | None
    p90: datetime | None
    can_turn_back: bool
    back_by: datetime | None


@dataclass(frozen=True)
class PlanCard:
    """A pair's plan in short; `standing` as `plan.html` has it, `at` its place there."""

    pair: str
    target_release: str
    standing: str
    made: datetime
    window_start: datetime | None
    window_end: datetime | None
    stages: tuple[StageCard, ...]
    at: str


def read_plans(folder: Path) -> Mapping[str, PlanCard]:
    """The plans of a folder by their pairs; BoardError where it holds none that can be read."""
    from collector.report.page import anchors

    file = folder / "plan.json"
    missing = next((name for name in ("plan.json", *PAGES) if not (folder / name).is_file()), None)
    if missing:
        raise BoardError(f"{folder} has no {missing}; name the folder that `readypair plan --all --out` wrote to")
    try:
        document = _Document.model_validate_json(file.read_bytes())
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or "it"
        message = f"{file} is no plan of this readypair's ({where}: {first['msg']})"
        raise BoardError(f"{message}; write it anew with `readypair plan --all --out {folder}`") from None
    places = anchors(plan.pair for plan in document.plans)
    return {plan.pair: _card(plan, at) for plan, at in zip(document.plans, places, strict=True)}


def _card(plan: _Plan, at: str) -> PlanCard:
    return PlanCard(
        pair=plan.pair,
        target_release=plan.target_release,
        standing=plan.standing,
        made=plan.made,
        window_start=plan.window_start,
        window_end=plan.window_end,
        stages=tuple(_stage(stage) for stage in plan.stages if stage.in_window and stage.needed),
        at=at,
    )


def _stage(stage: _Stage) -> StageCard:
    times = stage.times
    return StageCard(
        title=stage.title,
        drops_clients=stage.drops_clients,
        start=times.start if times else None,
        p50=times.p50 if times else None,
        p90=times.p90 if times else None,
        can_turn_back=stage.turn_back.possible,
        back_by=stage.turn_back.last_moment,
    )
