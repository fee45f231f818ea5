from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.collector.evidence import window


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with a good window of quay. Nobody writes to it: see `store`."""
    return window.fill(tmp_path_factory.mktemp("evidence") / "good.db")


@pytest.fixture
def store(filled: Path, tmp_path: Path) -> Path:
    """A copy of it for one test."""
    return Path(shutil.copy(filled, tmp_path / "store.db"))
