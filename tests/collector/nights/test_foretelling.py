from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from collector.nights.foretelling import clause, sentence
from collector.nights.outlook import Forecast, Line

TONIGHT = datetime(2027, 1, 20, 21, 0, tzinfo=UTC)
WINDOW = datetime(2027, 2, 6, 22, 0, tzinfo=UTC)
MB = 10**6


def found(likely: float = -41.23, steepest: float = -48, gentlest: float = -35.04, now: float = 4_316) -> Forecast:
    """Falls in MB a night, from so many MB free tonight, of which 3.75 GB are needed."""
    first, second, third = (Line(TONIGHT, now * MB, fall * MB) for fall in (likely, steepest, gentlest))
    return Forecast(3_750_000_000, 21, TONIGHT - timedelta(days=20), first, second, third)


def test_a_forecast_in_a_sentence() -> None:
    assert sentence("quay-b", found(), UTC, WINDOW) == (
        "Free flash of quay-b falls by 41.2 MB a night (35 MB to 48 MB by 21 nights), to about 3.61 GB "
        "(3.5 GB to 3.72 GB) of the 3.75 GB needed on 2027-02-06, and falls short on 2027-02-03 "
        "(2027-02-01 to 2027-02-06)."
    )
    assert clause("quay-b", found(), UTC) == (
        "free flash of quay-b falls by 41.2 MB a night (35 MB to 48 MB by 21 nights), and falls short on 2027-02-03 "
        "(2027-02-01 to 2027-02-06)"
    )


def test_a_fall_without_any_spread_is_said_once() -> None:
    steady = found(-41, -41, -41)
    assert clause("quay-b", steady, UTC, WINDOW) == (
        "free flash of quay-b falls by 41 MB a night (by 21 nights), to about 3.62 GB of the 3.75 GB needed on "
        "2027-02-06, and falls short on 2027-02-03"
    )


def test_what_is_not_within_sight_has_no_date() -> None:
    assert clause("quay-b", found(-1, -2, -0.1), UTC).endswith(
        "and falls short on 2027-10-30 at the earliest, and likely not within a year"
    )
    assert clause("quay-b", found(-2, -3, -0.1), UTC).endswith(
        "and falls short on 2027-10-30 (2027-07-28 at the earliest, at the latest not within a year)"
    )
    assert clause("quay-b", found(-1, -1, -1), UTC).endswith("and doesn't fall short within a year")


def test_the_dates_are_those_of_the_pairs_zone() -> None:
    late = found(-566 / 13.1, -566 / 13.1, -566 / 13.1)
    assert clause("quay-b", late, UTC).endswith("falls short on 2027-02-02")
    assert clause("quay-b", late, ZoneInfo("Europe/Oslo")).endswith("falls short on 2027-02-03")


def test_low_points_are_named_as_such() -> None:
    assert clause("quay-b", replace(found(), low_points=True), UTC).startswith(
        "what the clean-ups again and again leave of free flash on quay-b falls by 41.2 MB a night "
        "(35 MB to 48 MB by 21 low points)"
    )
