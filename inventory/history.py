"""The stages of earlier windows, as the site wrote them down (`history.yaml`, beside the policy; it may be absent)."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StrictStr

from inventory import yaml_files
from inventory.policy import TimedStage

FILE = "history.yaml"

_STAGES: tuple[str, ...] = (*get_args(TimedStage), "copy", "restart-aps")
_MOST = 7 * 24 * 60


def _stage(value: str) -> str:
    if value not in _STAGES:
        raise ValueError(f"there is no stage {value!r} whose durations count; there are {', '.join(_STAGES)}")
    return value


def _minutes(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _MOST:
        raise ValueError("must be a number of minutes, from 0 to those of a week")
    return value


class _History(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    stages: Mapping[
        Annotated[StrictStr, AfterValidator(_stage)], tuple[Annotated[float, BeforeValidator(_minutes)], ...]
    ] = {}


def read_history(path: Path) -> dict[str, tuple[float, ...]]:
    """How long each recorded stage took, in seconds, by the stage's id; empty where there is no file.

    In the file durations are minutes: `copy` that of one image onto one member, `restart-aps` that of one round. Raises
    InventoryError with all mistakes.
    """
    if not os.path.lexists(path):
        return {}
    read = yaml_files.validate(_History, yaml_files.load(path), path)
    return {stage: tuple(each * 60 for each in minutes) for stage, minutes in read.stages.items()}
