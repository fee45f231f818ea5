"""How the property tests run: without a clock, since machines are slow and noisy, a fresh clone most of all."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from tests.postgresql import postgresql, store_url

__all__ = ["postgresql", "store_url"]

# A fresh clone has no cache of Unicode's tables, and making them counts as the time of the first text that is drawn.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
