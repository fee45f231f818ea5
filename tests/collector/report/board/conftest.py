from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from collector.report.board import making
from collector.report.board.site import Planned
from collector.store.store import Store
from tests.collector.report.board.sample import MADE, MemoryStore

Write = Callable[..., Path]


def written(store: MemoryStore, out: Path, planned: list[Planned] | None = None) -> Path:
    """The board of a store in memory."""

    @contextmanager
    def opened(url: str, *, existing: bool = False) -> Iterator[Store]:
        assert existing, "reading must not make a store"
        yield store.store

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "opened", opened)
        making.make("memory", out, MADE, planned, processes=1)
    return out
