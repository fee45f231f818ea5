"""`readypair plan --all --windows FILE` as a user meets it; the search itself is tested beside it."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from collector.campaigning import campaign_of, in_its_window
from collector.cli import main
from collector.finding import Finding, Status, Verdict
from collector.plan.campaign import Answer, StaffedWindow, Upgrade, plan_campaign
from collector.plan.plan import Plan, Problem
from collector.planned import PairPlan
from collector.report.plan_page import page
from inventory.pairs import Window
from inventory.waivers import Waiver
from inventory.windows import Night
from tests.collector.report.plan_sample import NARROW, NO_WINDOW, OPENS, QUAY, TOO_LONG, planned
from tests.collector.rules.building import policy
from tests.collector.test_planning import Evening
from tests.demo_fleet import FIXTURES, INVENTORY

FROM = ("--from", str(FIXTURES), "--inventory", str(INVENTORY), "--quiet")
POLICY = policy(upgrade_paths=[{"from": "17.9", "to": "17.12", "direct": True}])


@pytest.fixture(autouse=True)
def _evening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("collector.planning.datetime", Evening)


def windows(folder: Path, *people: object, minutes: int = 240) -> str:
    """A file of windows a week apart, each with these people."""
    nights = [
        {"start": (OPENS + timedelta(days=7 * number)).isoformat(), "minutes": minutes, "people": each}
        for number, each in enumerate(people, 1)
    ]
    path = folder / "windows.yaml"
    path.write_text(yaml.safe_dump({"windows": nights}))
    return str(path)


def campaign(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = main(["plan", "--all", *FROM, "--json", *arguments])
    return status, dict(json.loads(capsys.readouterr().out))


def nights(told: dict[str, Any]) -> list[list[str]]:
    return [[each["upgrade"] for each in night["upgrades"]] for night in told["campaign"]["nights"]]


def pair_plan(name: str, plan: Plan = QUAY, **changes: Any) -> PairPlan:
    return planned(replace(plan, pair=replace(plan.pair, name=name, site=f"site of {name}", **changes)))


def night(number: int, people: int = 9, minutes: int = 240, **shifts: int) -> Night:
    start = OPENS + timedelta(days=number)
    return Night(f"night {number}", Window(start, minutes), sum(shifts.values()) or people, shifts)


def test_each_pair_gets_its_window_and_its_plan_for_it(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # quay and tidewater are mobility peers in the demo's inventory: they share no night.
    status, told = campaign(capsys, "--pairs", "[qt]*[yr]", "--windows", windows(tmp_path, 2, 2, 2))
    assert status == 0
    assert sorted(name for each in nights(told) for name in each) == ["quay", "tidewater"]
    assert all(len(each) < 2 for each in nights(told))
    assert (told["campaign"]["answer"], told["campaign"]["nights_taken"]) == ("proven-best", 2)
    opens = {each["upgrades"][0]["pair"]: each["start"] for each in told["campaign"]["nights"] if each["upgrades"]}
    for plan in told["plans"]:
        assert datetime.fromisoformat(plan["window_start"]) == datetime.fromisoformat(opens[plan["pair"]])
        assert plan["standing"] == "fits"


def test_the_terminal_shows_the_nights_then_the_pairs(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    file = windows(tmp_path, {"harbour": 1, "piers": 2}, 1, 1)
    assert main(["plan", "--all", *FROM, "--pairs", "[ql]*", "--windows", file, "--out", str(out)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "2 upgrades in 1 night; proven best: no assignment takes fewer nights."
    text = "\n".join(lines)
    assert "lantern, quay" in text
    assert "harbour 1" in text
    assert text.count("free") == 2
    assert max(map(len, lines)) <= 80
    html = (out / "plan.html").read_text()
    assert '<a href="#pair-lantern">lantern</a>' in html
    assert (out / "plan.ics").read_text().count("SUMMARY:quay: window") == 1


def test_what_clashes_is_told_and_the_plans_stay_as_they_are(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = windows(tmp_path, 9, minutes=30)
    status, told = campaign(capsys, "--pairs", "quay", "--windows", file)
    assert (status, told["campaign"]["answer"], told["campaign"]["complete"]) == (1, "impossible", False)
    assert "is the work of the shift harbour: no window is long enough" in told["campaign"]["clash"][0]
    assert told["plans"][0]["window_start"] == "2027-02-06T23:00:00+01:00"
    assert main(["plan", "--all", *FROM, "--pairs", "quay", "--windows", file]) == 1
    out = capsys.readouterr().out
    assert "There is no campaign in these windows: proven impossible." in out
    assert "These can't hold together; give way in any one of them:" in out


def test_blocked_pairs_come_last_and_releases_on_the_way_first(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = windows(tmp_path, 3, 3, 3)
    _, told = campaign(capsys, "--pairs", "[gqb]*[yrk]", "--windows", file)
    placed = {name: number for number, each in enumerate(nights(told)) for name in each}
    # gull-rock runs a release from which its target is two in-service steps away.
    assert placed["gull-rock to 17.6"] < placed["gull-rock to 17.12.4"]
    blocked = {each["upgrade"]: each["blocked"] for night in told["campaign"]["nights"] for each in night["upgrades"]}
    assert blocked["breakwater"]
    assert not blocked["quay"]
    assert placed["quay"] <= placed["breakwater"]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["quay", "--windows", "FILE"], "--windows plans a campaign; give --all for its pairs"),
        (["--all", "--windows", "/nowhere"], "/nowhere: can't be read: No such file or directory"),
    ],
)
def test_a_wrong_question_is_answered_with_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], sentence: str
) -> None:
    assert main(["plan", *arguments, *FROM]) == 2
    assert capsys.readouterr().err.strip() == f"readypair: {sentence}"


def test_mistakes_in_the_windows_are_all_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "windows.yaml").write_text("windows: [{start: soon, people: 1}]")
    assert main(["plan", "--all", *FROM, "--windows", str(tmp_path / "windows.yaml")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 2


def test_windows_that_have_passed_are_told_and_not_used(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = windows(tmp_path, 1, 1)
    data = yaml.safe_load(Path(file).read_text())
    data["windows"][0] |= {"name": "long ago", "start": "2020-02-12T23:00:00+01:00"}
    Path(file).write_text(yaml.safe_dump(data))
    assert main(["plan", "--all", *FROM, "--pairs", "quay", "--windows", file, "--json"]) == 0
    out, err = capsys.readouterr()
    assert [each["name"] for each in json.loads(out)["campaign"]["nights"]] == ["2027-02-20"]
    assert err.strip() == f"readypair: {file}: the window long ago isn't used: it ended at 2020-02-13 03:00+01:00"


def test_windows_that_have_all_passed_are_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    # The first ends at the very moment of the fixtures' evening.
    file = windows(tmp_path, 1, 1)
    data = yaml.safe_load(Path(file).read_text())
    data["windows"][0]["start"] = "2027-02-05T18:00:00+01:00"
    data["windows"][1]["start"] = "2020-02-12T23:00:00+01:00"
    Path(file).write_text(yaml.safe_dump(data))
    assert main(["plan", "--all", *FROM, "--windows", file]) == 2
    said = "windows: every window has passed, the last one ended at 2027-02-05 22:00+01:00"
    assert capsys.readouterr().err.strip() == f"readypair: {file}: {said}"


def test_a_pair_whose_work_is_not_known_is_left_out_openly() -> None:
    found = campaign_of([pair_plan("quay"), pair_plan("pontoon", NARROW)], [night(1)], POLICY)
    assert [step.pair.name for step in found.steps] == ["quay"]
    assert [each.pair.name for each in found.left] == ["pontoon"]
    assert not found.complete
    assert "How long its window takes isn't known" in found.left[0].why


def test_a_pair_without_neighbour_reports_is_not_placed_by_its_rolling_share(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder = tmp_path / "recorded"
    for member in ("quay-a", "quay-b"):
        ignored = shutil.ignore_patterns("*neighbor*")
        shutil.copytree(FIXTURES / member, folder / member, ignore=ignored)
    arguments = ["--from", str(folder), "--inventory", str(INVENTORY), "--quiet", "--json", "--pairs", "quay"]
    assert main(["plan", "--all", *arguments, "--windows", windows(tmp_path, 1)]) == 1
    told = json.loads(capsys.readouterr().out)
    assert [(plan["standing"], plan["times"]) for plan in told["plans"]] == [("incomplete", None)]
    assert nights(told) == [[]]


def test_a_pair_without_a_window_of_its_own_can_be_placed() -> None:
    stages = tuple(replace(each, estimate=QUAY.stages[3].estimate) for each in NO_WINDOW.stages)
    found = campaign_of([pair_plan("quay", replace(NO_WINDOW, stages=stages))], [night(1)], POLICY)
    assert found.campaign.windows == {"quay": "night 1"}
    assert in_its_window(found.steps[0].pair, found).window == night(1).window


def test_a_pair_that_runs_its_target_needs_no_window() -> None:
    done = replace(QUAY, problems=(Problem("runs-already", Status.CAUTION, "It runs it.", ""),))
    found = campaign_of([pair_plan("quay", done)], [night(1)], POLICY)
    assert (found.steps, found.left, found.complete) == ((), (), True)


def test_what_blocks_its_own_window_does_not_block_a_pair_in_another() -> None:
    other = replace(QUAY, problems=(Problem("auto-abort", Status.BLOCK, "It rolls back.", ""),))
    found = campaign_of([pair_plan("quay", TOO_LONG), pair_plan("pontoon", other)], [night(1)], POLICY)
    assert [step.upgrade.blocked for step in found.steps] == [False, True]
    unready = planned(QUAY, Verdict.NO_GO)
    assert unready.plan.problems == ()


def test_a_waived_block_that_hides_an_unknown_does_not_block_a_pair() -> None:
    block = Finding("config-sync", "In step?", Status.BLOCK, "It isn't.", unsure=True)
    waived = replace(block, waiver=Waiver("quay", "config-sync", "R. Vane", "Known.", date(2027, 3, 31)))
    for told, blocked in ((block, True), (waived, False)):
        found = pair_plan("quay")
        ready = replace(found.ready, findings=(told,))
        steps = campaign_of([replace(found, ready=ready)], [night(1)], POLICY).steps
        assert [step.upgrade.blocked for step in steps] == [blocked]


def test_no_step_of_a_campaign_leads_back_by_way_of_a_train() -> None:
    found = pair_plan("quay")
    first, second = (replace(member, release="17.12.4") for member in found.ready.members)
    target = replace(found.plan, pair=replace(found.plan.pair, target_release="17.12.1"))
    back = replace(found, plan=target, ready=replace(found.ready, members=(first, second)))
    chain = (("17.12.4", "17.12"), ("17.12", "17.12.1"))
    table = policy(upgrade_paths=[{"from": start, "to": end, "direct": True} for start, end in chain])
    assert [step.to for step in campaign_of([back], [night(1)], table).steps] == ["17.12.1"]


@pytest.mark.parametrize("solver", [True, False])
def test_a_shift_does_its_own_pairs_only(solver: bool) -> None:
    hour = timedelta(hours=1)

    def window(id: str, day: int, people: int, shift: str | None) -> StaffedWindow:
        start = OPENS + timedelta(days=day)
        return StaffedWindow(id, start, start + 4 * hour, people, shift)

    upgrades = [
        Upgrade("quay", "quay", "a", hour, shift="harbour"),
        Upgrade("lantern", "lantern", "b", hour, shift="piers"),
        Upgrade("gantry", "gantry", "c", hour),
    ]
    staffed = [window("1 harbour", 1, 1, "harbour"), window("1 piers", 1, 2, "piers"), window("2", 2, 9, None)]
    found = plan_campaign(upgrades, staffed, use_solver=solver)
    # All three on the second night are as few nights as on the first; whoever has a shift is with it or with anybody.
    assert found.answer is Answer.PROVEN_BEST
    assert found.nights == 1
    assert found.windows["quay"] in ("1 harbour", "2")
    assert found.windows["lantern"] in ("1 piers", "2")
    alone = plan_campaign(upgrades[:1], [window("1 piers", 1, 2, "piers")], use_solver=solver)
    assert alone.answer is Answer.IMPOSSIBLE
    assert "is the work of the shift harbour: no window" in alone.clash[0].sentence


def test_nights_with_shifts_count_each_shifts_people() -> None:
    pairs = [pair_plan(name, shift="harbour") for name in ("quay", "pontoon")]
    found = campaign_of(pairs, [night(1, harbour=1, piers=5), night(2, harbour=1)], POLICY)
    assert [len(each.steps) for each in found.nights] == [1, 1]
    assert found.complete


def test_people_that_are_too_few_in_every_window_are_told_in_one_sentence() -> None:
    pairs = [pair_plan(name) for name in ("quay", "pontoon", "gantry", "lantern")]
    found = campaign_of(pairs, [night(1, 1), night(2, 1), night(3, harbour=1, piers=0)], POLICY)
    assert len(found.campaign.clash) == 4, "one for each window and shift"
    assert found.clash == ("The windows have 3 places on shift for 4 upgrades.",)
    alone = campaign_of(pairs, [night(1, 1)], POLICY)
    assert alone.clash == ("One person is on shift in the window night 1.",)


def test_two_pairs_of_one_site_are_both_there() -> None:
    pairs = [pair_plan(name) for name in ("quay", "pontoon")]
    same = [replace(each, plan=replace(each.plan, pair=replace(each.plan.pair, site="Pier"))) for each in pairs]
    found = campaign_of(same, [night(1)], POLICY)
    assert found.clash == ("quay and pontoon are both at Pier, and a site has one of them a night.",)


def test_the_page_without_a_campaign_has_none() -> None:
    found = campaign_of([pair_plan("quay")], [night(1)], POLICY)
    assert "The campaign" in page([pair_plan("quay")], "x", found)
    assert "The campaign" not in page([pair_plan("quay")], "x")
