"""What a rule may know of earlier nights: a part of the snapshot, put there by whoever has a store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True)
class Point:
    """Free flash in bytes at a moment that knows its offset."""

    moment: datetime
    free: int


@dataclass(frozen=True)
class Past:
    """A pair's earlier nights, oldest first, tonight's not among them; empty where there is no store.

    `flash` by member's name, one point a night at most.
    """

    flash: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)
