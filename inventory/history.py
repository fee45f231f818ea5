"""The stages of earlier windows, as the site wrote them down (`history.yaml`, beside the policy; it may be absent)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StrictFloat, StrictInt

from inventory import yaml_files
from inventory.policy import StageName

FILE = "history.yaml"

_Minutes = Annotated[StrictFloat | StrictInt, Field(ge=0, le=7 * 24 * 60, allow_inf_nan=False)]


class _History(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    stages: Mapping[StageName, Sequence[_Minutes]] = {}


def read_history(path: Path) -> dict[str, tuple[float, ...]]:
    """How long each recorded stage took, in seconds, by the stage's id; empty where there is no file.

    In the file durations are minutes: `copy` that of one image onto one member, `restart-aps` that of one round. Raises
    InventoryError with all mistakes.
    """
    if not path.exists():
        return {}
    read = yaml_files.validate(_History, yaml_files.load(path), path)
    return {str(stage): tuple(float(each) * 60 for each in minutes) for stage, minutes in read.stages.items()}
