"""Stages, their durations and the ways back."""

from __future__ import annotations

import numpy as np
import pytest

from collector.plan.plan import STAGES, Estimate, StageId
from collector.plan.stages import (
    ACTIVATED,
    BEFORE_WINDOW,
    DESCRIPTIONS,
    Duration,
    copy,
    estimate_of,
    recorded,
    restarts,
    seconds,
    way_back,
    whole_stage,
)
from inventory.policy import ApRestarts, Minutes, Policy, Rates

PLAIN = Policy.model_validate(
    {"hardware": {}, "trains": {}, "minimum_release": "17.3.1", "upgrade_paths": []},
)
EXPAND = Minutes(optimistic=4, likely=6, pessimistic=12)


def policy(**values: object) -> Policy:
    return PLAIN.model_copy(update=values)


def test_every_stage_comes_after_stages_before_it() -> None:
    """The standby first, the switchover once it is hot, the commit last (common practice, no source)."""
    for number, id in enumerate(STAGES):
        assert set(DESCRIPTIONS[id].after) <= set(STAGES[:number]), id
        assert DESCRIPTIONS[id].see
        assert DESCRIPTIONS[id].turn_back_when
    assert STAGES.index("reload-standby") < STAGES.index("switch-over") < STAGES.index("reload-other")
    assert (ACTIVATED[0], ACTIVATED[-1]) == ("reload-standby", "validate")
    assert not set(BEFORE_WINDOW) & set(ACTIVATED)


def test_a_transfer_is_worked_by_hand() -> None:
    """IEC 80000-13: 1.25 GB are 10 * 10^9 bits, and 80 Mbit/s are 80 * 10^6 bits in a second: 125 s."""
    assert seconds(1_250_000_000, 80) == 125
    rates = Rates(optimistic=160, likely=80, pessimistic=40)
    assert copy(1_250_000_000, 1, policy(copy_mbps=rates), {}).estimate == Estimate(62.5, 125, 250)
    assert copy(1_250_000_000, 2, policy(copy_mbps=rates), {}).estimate == Estimate(125, 250, 500)


def test_nothing_is_guessed_where_the_policy_is_silent() -> None:
    for duration in (
        whole_stage("expand", PLAIN, {}),
        copy(1, 2, PLAIN, {}),
        copy(None, 2, policy(copy_mbps=Rates(optimistic=1, likely=1, pessimistic=1)), {}),
        restarts(3, True, PLAIN, {}),
        restarts(None, True, policy(ap_restarts=ApRestarts(staged=EXPAND)), {}),
        restarts(3, False, policy(ap_restarts=ApRestarts(staged=EXPAND)), {}),
    ):
        assert duration.estimate is None
        assert duration.source is None
        assert duration.basis
        assert duration.needed.endswith(".")


def test_the_policys_minutes_count_until_five_stages_are_recorded() -> None:
    stated = policy(timings={"expand": EXPAND})
    assert whole_stage("expand", stated, {"expand": [300] * 4}) == Duration(
        Estimate(240, 360, 720), "policy", "the policy's `timings.expand`"
    )
    found = whole_stage("expand", stated, {"expand": [300, 330, 360, 420, 900]})
    assert found.source == "history"
    assert found.estimate is not None
    assert found.estimate.likely == 360
    assert whole_stage("expand", PLAIN, {"expand": [300] * 5}).estimate == Estimate(300, 300, 300)


def test_recorded_stages_are_cut_as_numpy_cuts_them() -> None:
    """numpy.quantile's default is definition 7 of The American Statistician 50(4), 1996; tolerance: rounding."""
    values = [float(each) for each in np.random.default_rng(4).gamma(3, 200, 57)]
    found = recorded({"validate": values}, "validate")
    assert found is not None
    assert found.estimate is not None
    expected = np.quantile(values, [0.01, 0.5, 0.99])
    got = (found.estimate.optimistic, found.estimate.likely, found.estimate.pessimistic)
    assert got == pytest.approx(tuple(expected))


@pytest.mark.parametrize("wrong", [-1.0, float("nan"), float("inf")])
def test_a_history_of_no_durations_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="history of expand"):
        recorded({"expand": [300, 300, 300, 300, wrong]}, "expand")


def test_what_depends_on_size_is_recorded_by_the_piece() -> None:
    assert copy(None, 2, PLAIN, {"copy": [100] * 5}).estimate == Estimate(200, 200, 200)
    assert restarts(4, True, PLAIN, {"restart-aps": [200] * 5}).estimate == Estimate(800, 800, 800)


def test_staged_access_points_take_their_own_time_for_each_round() -> None:
    """That staged ones are faster is common practice without a source: both figures are the policy's."""
    table = ApRestarts(
        staged=Minutes(optimistic=3, likely=4, pessimistic=7), unstaged=Minutes(optimistic=9, likely=14, pessimistic=30)
    )
    assert restarts(5, True, policy(ap_restarts=table), {}).estimate == Estimate(900, 1200, 2100)
    assert restarts(5, False, policy(ap_restarts=table), {}).estimate == Estimate(2700, 4200, 9000)
    assert restarts(0, True, policy(ap_restarts=table), {}).estimate == Estimate(0, 0, 0)


def durations(**minutes: float) -> dict[StageId, Duration]:
    return {
        id: Duration(Estimate(60, 60, 60).scaled(minutes.get(id.replace("-", "_"), 1)), "policy", "") for id in STAGES
    }


def test_the_way_back_goes_through_what_was_done() -> None:
    """Common practice, no source: what has been reloaded on the new release is reloaded on the old one."""
    known = durations(reload_standby=10, synchronise=5, switch_over=2, reload_other=20, restart_aps=30)
    minutes = {}
    for id in STAGES[:-1]:
        steps = way_back(id, known, PLAIN)
        assert steps is not None
        minutes[id] = sum(step.estimate.likely for step in steps if step.estimate is not None) / 60
    assert minutes == {
        "copy": 0,
        "expand": 0,
        "stage-aps": 0,
        "reload-standby": 15,
        "synchronise": 15,
        "switch-over": 17,
        "reload-other": 37,
        "restart-aps": 67,
        "validate": 67,
    }


def test_nothing_leads_back_from_the_commit() -> None:
    assert way_back("commit", durations(), PLAIN) is None


def test_the_policys_own_way_back_counts() -> None:
    steps = way_back("validate", durations(), policy(way_back={"validate": EXPAND}))
    assert steps is not None
    assert [step.estimate for step in steps] == [estimate_of(EXPAND)]


def test_a_step_back_without_a_time_stays_without_one() -> None:
    known = durations() | {"reload-other": Duration(None, None, "not stated")}
    steps = way_back("validate", known, PLAIN)
    assert steps is not None
    assert [step.title for step in steps if step.estimate is None] == [
        "Reload the other member on the old release, and synchronise it until it is hot"
    ]
