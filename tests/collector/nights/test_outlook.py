"""Forecasts of series whose truth is known: each is generated from a seed, and the fall that went in must come out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.nights.night import Night, Room, Source, night_of
from collector.nights.outlook import FEWEST, LOOK_BACK, Forecast, Line, Silence, forecast, series
from collector.nights.past import Past, Point, past_of

HARBOUR = ZoneInfo("Europe/Oslo")
TONIGHT = datetime(2027, 2, 5, 22, 0, tzinfo=HARBOUR)
DAY = timedelta(days=1)
GB, MB = 10**9, 10**6
NEEDED = 3_750_000_000
SEEDS = range(20)


def points(free: Sequence[float], needed: Sequence[int | None] | int = NEEDED) -> list[Point]:
    """One point a night, the last of them tonight's."""
    needs = [needed] * len(free) if isinstance(needed, int) else needed
    starts = range(1 - len(free), 1)
    return [Point(TONIGHT + n * DAY, round(each), need) for n, each, need in zip(starts, free, needs, strict=True)]


def told(free: Sequence[float]) -> Forecast:
    found = forecast(points(free))
    assert isinstance(found, Forecast), found
    return found


def silent(free: Sequence[float]) -> str:
    found = forecast(points(free))
    assert isinstance(found, Silence), found
    return found.reason


def falling(
    nights: int, a_night: float = 41 * MB, *, noise: float = 0, seed: int = 0, now: float = 5 * GB
) -> list[float]:
    """So many nights down to `now`, each with normally distributed noise."""
    random = Random(seed)
    return [now + a_night * left + random.gauss(0, noise) for left in range(nights - 1, -1, -1)]


def holds(found: Forecast, a_night: float) -> bool:
    """Whether the fall that went in lies in the interval that came out."""
    return found.steepest.a_day <= -a_night <= found.gentlest.a_day


def test_a_steady_fall_is_found_to_the_byte_and_the_day() -> None:
    found = told(falling(21))
    assert (found.nights, found.needed) == (21, NEEDED)
    assert [line.a_day for line in (found.likely, found.steepest, found.gentlest)] == pytest.approx([-41 * MB] * 3)
    assert found.likely.free == pytest.approx(5 * GB)
    # 1.25 GB at 41 MB a night: 30 nights and a half.
    assert set(found.shortfall) == {found.shortfall.likely}
    assert found.shortfall.likely is not None
    assert (found.shortfall.likely - TONIGHT) / DAY == pytest.approx(1250 / 41)
    assert found.at(TONIGHT + 10 * DAY) == pytest.approx((4.59 * GB, 4.59 * GB, 4.59 * GB))
    assert found.since == TONIGHT - 20 * DAY


@pytest.mark.parametrize("seed", SEEDS)
def test_noise_widens_the_interval_around_the_truth(seed: int) -> None:
    found = told(falling(21, noise=60 * MB, seed=seed))
    assert found.steepest.a_day < found.likely.a_day < found.gentlest.a_day
    assert found.likely.a_day == pytest.approx(-41 * MB, rel=0.25)
    wanted = TONIGHT + 1250 / 41 * DAY
    likely, earliest, latest = found.shortfall
    assert earliest is not None
    assert likely is not None
    assert latest is not None
    assert earliest < likely < latest
    assert abs(likely - wanted) < 8 * DAY
    least, most = found.at(TONIGHT + 20 * DAY)[1:]
    assert least < found.at(TONIGHT + 20 * DAY).likely < most


def test_the_interval_holds_the_truth_nineteen_times_in_twenty() -> None:
    held = [holds(told(falling(25, noise=40 * MB, seed=seed)), 41 * MB) for seed in range(400)]
    assert 0.93 <= sum(held) / len(held) <= 0.98


@pytest.mark.parametrize(("nights", "ahead"), [(7, 8), (7, 30), (30, 8), (30, 30)])
def test_the_dates_hold_the_truth_nine_times_in_ten(nights: int, ahead: int) -> None:
    """The interval is the slope's alone; the level's own noise is small beside it, and takes little from it."""
    held = []
    for seed in range(300):
        found = told(falling(nights, noise=20 * MB, seed=seed, now=NEEDED + ahead * 41 * MB))
        _, earliest, latest = found.shortfall
        assert earliest is not None
        assert latest is not None
        held.append(earliest <= TONIGHT + ahead * DAY <= latest)
    assert sum(held) / len(held) > 0.9


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("freed", [300 * MB, 900 * MB, 4 * GB])
def test_since_a_clean_up_only_the_nights_after_it_count(seed: int, freed: float) -> None:
    free = falling(40, noise=15 * MB, seed=seed)
    free = [each - freed if number < 25 else each for number, each in enumerate(free)]
    found = told(free)
    assert found.nights == 15
    assert found.likely.a_day == pytest.approx(-41 * MB, rel=0.15)
    assert found.likely.free == pytest.approx(5 * GB, abs=40 * MB)


@pytest.mark.parametrize("after", range(1, FEWEST))
def test_a_few_nights_after_a_clean_up_are_too_few(after: int) -> None:
    free = falling(40, noise=15 * MB)
    free = [each - 900 * MB if number < 40 - after else each for number, each in enumerate(free)]
    nights = "1 night" if after == 1 else f"{after} nights"
    assert silent(free) == f"has {nights} since its free flash jumped of the 7 that a forecast takes"


def test_what_was_put_there_tonight_is_not_forecast_away() -> None:
    assert silent([*falling(39), 3.9 * GB]).startswith("has 1 night since its free flash jumped")


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("odd", [-2 * GB, 3 * GB])
def test_odd_nights_change_nothing_much(seed: int, odd: float) -> None:
    """One here, two in a row there, never the very last."""
    free = falling(40, noise=15 * MB, seed=seed)
    for number in (12, 20, 21, 33):
        free[number] += odd
    found = told(free)
    assert found.nights == 30
    assert found.likely.a_day == pytest.approx(-41 * MB, rel=0.1)
    assert found.likely.free == pytest.approx(5 * GB, abs=40 * MB)


def test_a_flat_series_shows_no_fall_but_by_chance() -> None:
    found = [forecast(points(falling(30, 0, noise=40 * MB, seed=seed))) for seed in range(400)]
    assert sum(isinstance(each, Forecast) for each in found) <= 16
    assert silent([5 * GB] * 30) == "shows no fall of free flash by 30 nights"


def test_what_grows_does_not_fall() -> None:
    assert silent(falling(30, -41 * MB)) == "shows no fall of free flash by 30 nights"


@pytest.mark.parametrize("period", [2, 3, 5, 7, 10, 14])
@pytest.mark.parametrize("seed", range(3))
def test_a_rotation_of_logs_is_no_fall_whatever_its_phase(period: int, seed: int) -> None:
    random = Random(seed)
    for phase in range(period):
        free = [5 * GB - 40 * MB * ((night + phase) % period) + random.gauss(0, 2 * MB) for night in range(60)]
        assert "low points" in silent(free) or "shows no fall" in silent(free)


def saw(nights: int, a_night: float, period: int = 7) -> list[float]:
    return [8 * GB - a_night * night - 40 * MB * (night % period) for night in range(nights)]


def test_under_a_rotation_the_low_points_tell_the_fall() -> None:
    found = told(saw(60, 20 * MB))
    assert found.low_points
    assert found.nights == 8
    assert found.likely.a_day == pytest.approx(-20 * MB)
    # At its lowest, six nights of the saw are gone.
    assert found.likely.free == pytest.approx(8 * GB - 20 * MB * 59 - 240 * MB)
    assert "with 6 low points of the 7" in silent(saw(48, 20 * MB))


@pytest.mark.parametrize("before", range(8, 57))
@pytest.mark.parametrize("put", [-1.2 * GB, 1.2 * GB])
def test_a_file_put_there_or_removed_amid_a_rotation_is_no_fall(before: int, put: float) -> None:
    random = Random(before)
    noisy = [each + random.gauss(0, 4 * MB) for each in saw(60, 0)]
    found = forecast(points([each + (put if night >= before else 0) for night, each in enumerate(noisy)]))
    # By chance the low points may fall by some kB a night.
    assert isinstance(found, Silence) or found.shortfall.earliest is None


def test_under_a_rotation_a_file_that_lies_about_for_a_month_is_no_fall() -> None:
    for since in range(3, 57):
        for until in (60, since + 30):
            free = [each - 1_240 * MB if since <= night < until else each for night, each in enumerate(saw(60, 0))]
            assert "low points" in silent(free) or "shows no fall" in silent(free)


def test_three_rises_are_a_rotation_and_two_are_clean_ups() -> None:
    assert "with 3 low points of the 7" in silent(saw(60, 0, 15))
    assert told(saw(59, 0, 20)).nights == 19


def test_a_small_jump_is_none() -> None:
    free = [each + (60 * MB if number >= 25 else 0) for number, each in enumerate(falling(30))]
    assert told(free).nights == 30


def test_a_rotation_that_stopped_is_a_fall() -> None:
    lived = saw(42, 0)
    found = told([*lived, *(8 * GB - 40 * MB * night for night in range(18))])
    assert not found.low_points
    assert found.nights == 18
    assert found.likely.a_day == pytest.approx(-40 * MB)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_fall_in_lumps_is_a_fall(seed: int) -> None:
    """A crash file of 150 MB every fifth night or so."""
    random = Random(seed)
    lumps = [150 * MB if night % 5 == random.randrange(2) else 0 for night in range(60)]
    free = [8 * GB - sum(lumps[: night + 1]) for night in range(60)]
    found = told(free)
    assert -60 * MB < found.likely.a_day < -10 * MB
    assert found.nights == 30


def test_staging_the_image_is_no_loss() -> None:
    image = NEEDED // 3
    plain = falling(30, noise=15 * MB)
    for staged in range(1, 30):
        free = [each - image if number >= staged else each for number, each in enumerate(plain)]
        needs: list[int | None] = [NEEDED - image if number >= staged else NEEDED for number in range(30)]
        found, wanted = forecast(points(free, needs)), forecast(points(plain))
        assert isinstance(found, Forecast)
        assert isinstance(wanted, Forecast)
        assert (found.needed, found.nights) == (NEEDED - image, 30)
        assert found.likely.a_day == pytest.approx(wanted.likely.a_day)
        assert found.likely.free == pytest.approx(wanted.likely.free - image)
        # A listing without its files tells nothing of what is staged.
        needs[staged - 1] = None
        assert isinstance(forecast(points(free, needs)), Forecast) is (staged <= 30 - FEWEST)


def test_another_target_changes_what_is_needed_alone() -> None:
    free = falling(30, noise=15 * MB)
    found = forecast(points(free, [NEEDED if night < 20 else NEEDED + 600 * MB for night in range(30)]))
    wanted = told(free)
    assert isinstance(found, Forecast)
    assert (found.likely, found.needed) == (wanted.likely, NEEDED + 600 * MB)


@pytest.mark.parametrize("nights", range(1, FEWEST))
def test_fewer_than_seven_nights_are_too_few(nights: int) -> None:
    word = "1 night" if nights == 1 else f"{nights} nights"
    assert silent(falling(nights)) == f"has {word} of the 7 that a forecast takes"


def test_seven_nights_are_enough_whatever_lies_between_them() -> None:
    assert told(falling(7)).nights == 7
    sparse = [point for number, point in enumerate(points(falling(43))) if number % 7 == 0]
    found = forecast(sparse)
    assert isinstance(found, Forecast)
    assert (found.nights, found.since) == (7, TONIGHT - 42 * DAY)
    assert found.likely.a_day == pytest.approx(-41 * MB)


def test_only_the_latest_thirty_nights_make_the_trend() -> None:
    """A leak of thirty nights isn't averaged with the quiet month before it."""
    found = told([5 * GB + 30 * 41 * MB] * 30 + falling(30))
    assert found.likely.a_day == pytest.approx(-41 * MB)


def test_without_tonights_figures_there_is_nothing_to_start_from() -> None:
    for wrong in ([], points(falling(9), [NEEDED] * 8 + [None])):
        with pytest.raises(ValueError, match="starts from tonight's free flash"):
            forecast(wrong)


def test_a_line_knows_when_it_is_under() -> None:
    line = Line(TONIGHT, 10.0, -2.0)
    assert line.at(TONIGHT + 2 * DAY) == 6
    assert line.at(TONIGHT + 9 * DAY) == 0
    assert line.under(4) == TONIGHT + 3 * DAY
    assert line.under(10) == TONIGHT
    assert line.under(11) == TONIGHT
    assert Line(TONIGHT, 10.0, 0.0).under(4) is None
    assert Line(TONIGHT, 10.0, 1.0).under(4) is None
    assert Line(TONIGHT, 366.0, -1.0).under(1) is None
    assert Line(TONIGHT, 365.0, -1.0).under(1) == TONIGHT + 364 * DAY
    assert Line(TONIGHT, 10.0, -1e-300).under(1) is None


@given(
    st.lists(st.integers(0, 26 * GB), min_size=FEWEST, max_size=LOOK_BACK),
    st.integers(0, 26 * GB),
    st.integers(0, 400),
)
def test_whatever_the_series_the_likely_lies_between_the_ends(free: list[int], needed: int, days: int) -> None:
    found = forecast(points(free, needed))
    if isinstance(found, Silence):
        assert found.reason
        return
    span = found.at(TONIGHT + days * DAY)
    assert span.least <= span.likely <= span.most
    likely, earliest, latest = (each or TONIGHT + 1000 * DAY for each in found.shortfall)
    assert TONIGHT <= earliest <= likely <= latest
    assert found.steepest.a_day <= found.likely.a_day <= found.gentlest.a_day < 0


def room(free: int | None = 5 * GB, needed: int | None = NEEDED) -> Room:
    return Room("quay-b", free, 26 * GB, needed)


def past(*moments: datetime) -> Past:
    return Past({"quay-b": tuple(Point(each, 6 * GB, NEEDED) for each in moments)})


def test_a_series_is_the_nights_before_and_tonight() -> None:
    evenings = [TONIGHT - days * DAY for days in (LOOK_BACK, LOOK_BACK - 1, 2, 1)]
    late = TONIGHT + timedelta(hours=5)
    found = series(room(), past(*evenings, TONIGHT - timedelta(hours=1), TONIGHT + DAY), late)
    # What was asked the same night before, later, or too long ago isn't another night of it.
    assert [point.moment for point in found] == [*evenings[1:], late]
    assert found[-1] == Point(late, 5 * GB, NEEDED)
    assert series(room(), past(), TONIGHT) == (Point(TONIGHT, 5 * GB, NEEDED),)
    assert series(room(None), past(*evenings), TONIGHT) == ()


def test_of_two_points_of_a_night_the_later_counts() -> None:
    twice = (Point(TONIGHT - DAY, 7 * GB, NEEDED), Point(TONIGHT - DAY + timedelta(hours=3), 6 * GB, NEEDED))
    assert [point.free for point in series(room(), Past({"quay-b": twice}), TONIGHT)] == [6 * GB, 5 * GB]


@pytest.mark.parametrize(
    ("zone", "hour"),
    [("Australia/Sydney", 22), ("Pacific/Auckland", 0), ("Asia/Tokyo", 21), ("America/Los_Angeles", 4), ("UTC", 1)],
)
def test_no_night_is_lost_to_a_store_that_gives_utc_back(zone: str, hour: int) -> None:
    """There it is about noon in Greenwich, so that by UTC two sweeps fall in one night, and none in the next."""
    first = datetime(2027, 1, 20, hour, 0, tzinfo=ZoneInfo(zone))
    minutes = [-40, 35, -20, 50, -55, 10, -5, 45, -30, 20]
    moments = [first + n * DAY + timedelta(hours=n % 2, minutes=late) for n, late in enumerate(minutes)]
    nights = [night_of(each) for each in moments]
    assert len(set(nights)) == len(nights)
    told = past_of([stored(night, each.astimezone(UTC)) for night, each in zip(nights, moments, strict=True)])
    for tonight in (moments[-1], moments[-1].astimezone(UTC)):
        found = series(room(), told, tonight, nights[-1])
        assert [point.night for point in found] == nights
    assert len(series(room(), told, moments[-1])) == len(nights)


def stored(night: date, asked: datetime) -> Night:
    rooms = (room(6 * GB),)
    return Night(1, "quay", "", night, Source.SWEEP, asked, asked, Verdict.GO, "17.12.4", True, 1, None, rooms)


def test_a_change_of_the_clocks_costs_no_night_and_no_hour() -> None:
    """In Oslo the night of 2027-03-27 is an hour shorter: swept at half past one by the clock, falling by the hour."""
    sweeps = [datetime(2027, 3, day, 1, 30, tzinfo=HARBOUR) for day in range(24, 32)]
    hours = [(each.astimezone(UTC) - sweeps[0].astimezone(UTC)) / timedelta(hours=1) for each in sweeps]
    assert hours[-1] == 7 * 24 - 1
    told = tuple(Point(each, round(6 * GB - hour * MB), NEEDED) for each, hour in zip(sweeps, hours, strict=True))
    last = told[-1]
    found = forecast(series(Room("quay-b", last.free, None, NEEDED), Past({"quay-b": told[:-1]}), last.moment))
    assert isinstance(found, Forecast)
    assert found.nights == 8
    lines = (found.likely, found.steepest, found.gentlest)
    assert [line.a_day for line in lines] == pytest.approx([-24 * MB] * 3, rel=1e-9)
