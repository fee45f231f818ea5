"""What the tests of several commands share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.collector.commands.remembered import remember


@pytest.fixture(scope="session")
def remembered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store that `remember` makes, for commands that only read."""
    file = tmp_path_factory.mktemp("remembered") / "nights.db"
    remember(file)
    return file
