from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from collector import output
from collector.report.board.folder import BoardError
from collector.report.board.plans import read_plans
from collector.report.page import anchors
from tests.collector.report.plan_sample import HOSTILE_PLAN, NO_WINDOW, QUAY, TOO_LONG, planned
from tests.collector.report.sample import HOSTILE

PLANS = tuple(
    planned(replace(plan, pair=replace(plan.pair, name=name)))
    for name, plan in (("quay", QUAY), ("too long", TOO_LONG), ("no window", NO_WINDOW), (HOSTILE, HOSTILE_PLAN))
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    output.write_plans(tmp_path, PLANS, "inventory/demo")
    return tmp_path


def test_every_plan_is_read_with_its_place_in_the_page(folder: Path) -> None:
    found = read_plans(folder)
    assert list(found) == [each.plan.pair.name for each in PLANS]
    text = (folder / "plan.html").read_text()
    for each, place in zip(PLANS, anchors(each.plan.pair.name for each in PLANS), strict=True):
        card = found[each.plan.pair.name]
        assert card.standing == each.standing.value
        assert (card.window_start, card.window_end, card.made) == (
            each.plan.window_start,
            each.plan.window_end,
            each.plan.made,
        )
        assert card.at == place
        assert f'id="{place}"' in text


def test_the_stages_of_the_window_are_those_that_are_needed(folder: Path) -> None:
    found = read_plans(folder)
    for each in PLANS:
        needed = [stage for stage in each.plan.stages if stage.in_window and not stage.skipped]
        cards = found[each.plan.pair.name].stages
        assert [card.title for card in cards] == [stage.title for stage in needed]
        for card, stage in zip(cards, needed, strict=True):
            assert card.p90 == (stage.times.p90 if stage.times else None)
            assert (card.can_turn_back, card.back_by) == (stage.turn_back.possible, stage.turn_back.last_moment)


def test_a_folder_without_plans_is_told_of(folder: Path) -> None:
    (folder / "procedure.html").unlink()
    with pytest.raises(BoardError, match=r"has no procedure\.html; name the folder that `readypair plan --all --out`"):
        read_plans(folder)
    with pytest.raises(BoardError, match=r"has no plan\.json"):
        read_plans(folder / "nowhere")


def changed(data: dict[str, Any], key: str, value: object) -> dict[str, Any]:
    first, *rest = data["plans"]
    return {**data, "plans": [{**first, key: value}, *rest]}


def test_what_is_no_plan_is_told_of_with_its_key(folder: Path) -> None:
    file = folder / "plan.json"
    data = json.loads(file.read_text())
    for text, told in (
        ("", "it: "),
        ("[]", "it: "),
        (json.dumps({**data, "schema": 2}), "schema: "),
        (json.dumps(changed(data, "made", "yesterday")), r"plans\.0\.made: "),
        (json.dumps(changed(data, "stages", None)), r"plans\.0\.stages: "),
    ):
        file.write_text(text)
        with pytest.raises(
            BoardError, match=rf"plan\.json is no plan of this readypair's \({told}.*; write it anew with"
        ):
            read_plans(folder)
