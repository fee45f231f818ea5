"""What holds for all tests: they have no clock, share one PostgreSQL server, and touch no store of the user's own."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

from tests.postgresql import postgresql, store_url
from tests.wire import read_only_wire

__all__ = ["postgresql", "read_only_wire", "store_url"]

os.environ.pop("READYPAIR_STORE", None)

# Machines are slow and noisy, a fresh clone most of all: it has no cache of Unicode's tables, and making them counts as
# the time of the first text that is drawn.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
