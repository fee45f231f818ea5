"""`readypair plan` as a user meets it: from recordings, and over SSH from simulated controllers."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pytest
import yaml
from ics import Calendar

from collector import demo, job, rules
from collector.cli import main
from collector.demo import EVENING
from collector.planning import plan_pairs
from inventory.opening import open_inventory
from tests.collector.test_cli import controllers
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

FROM = ("--from", str(FIXTURES), "--inventory", str(INVENTORY), "--quiet")


class Evening(datetime):
    """The clock stands at the fixtures' evening."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Evening:
        return cls.fromisoformat(demo.EVENING.isoformat())


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("INVENTORY", "KNOWN_HOSTS", "USERNAME", "PASSWORD", "SECRET"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("collector.planning.datetime", Evening)


@pytest.fixture
def inventory(tmp_path: Path) -> Path:
    shutil.copytree(INVENTORY, tmp_path / "inventory")
    return tmp_path / "inventory"


def edit(inventory: Path, file: str, **changes: Any) -> None:
    """Set these keys of the policy, or of the pair `quay` in the groups; None takes one out."""
    path = inventory / file
    data = yaml.safe_load(path.read_text())
    table = data["quay"]["data"] if file == "groups.yaml" else data
    for key, value in changes.items():
        table.pop(key, None)
        if value is not None:
            table[key] = value
    path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True))


def planned(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = main(["plan", *arguments, "--json"])
    (plan,) = json.loads(capsys.readouterr().out)["plans"]
    return status, dict(plan)


def test_a_plan_from_recordings_fits_its_window(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "quay", *FROM]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("quay, Harbour Quay, to 17.12.4: fits\n")
    assert "proven to be the fewest" in out
    assert err == ""


def test_every_demo_pair_has_its_plan(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--all", *FROM, "--json"]) == 1
    plans = {plan["pair"]: plan for plan in json.loads(capsys.readouterr().out)["plans"]}
    assert set(plans) == {pair.name for pair in fleet().pairs}
    assert plans["quay"]["standing"] == "fits"
    assert plans["breakwater"]["standing"] == "blocked"
    assert "install-mode" in plans["breakwater"]["deciding"]
    # What isn't known is never good.
    for plan in plans.values():
        if plan["standing"] == "fits":
            assert (plan["verdict"], plan["unknowns"], plan["blocked"]) == ("go", [], False)


def test_all_pairs_stand_in_a_table_and_can_be_narrowed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--all", *FROM, "--pairs", "[qt]*"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[2:5]] == ["quay", "tidewater", "twin-beacons"]
    assert main(["plan", "--all", *FROM, "--pairs", "quay"]) == 0


def test_over_ssh_the_deep_commands_are_asked_too(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Over SSH the captures are dated by this machine's own clock.
    monkeypatch.setattr("collector.planning.datetime", datetime)
    with controllers(tmp_path / "inventory", monkeypatch, "quay-a", "quay-b") as running:
        (tmp_path / "inventory" / "known_hosts").write_text(running.known_hosts_text())
        out = tmp_path / "out"
        status, plan = planned(capsys, "quay", "--quiet", "--out", str(out))
    # The fixtures tell another day, and the inventory has no window: neither makes a good plan.
    assert status == 1
    assert plan["window_start"] is None
    assert plan["batches"]["batches"]
    assert (out / "captures" / "quay-a" / "show_ap_neighbor_summary.txt").is_file()
    assert not (out / "plan.ics").exists()
    monkeypatch.setattr("collector.planning.datetime", Evening)
    again = planned(capsys, "quay", "--from", str(out), "--inventory", str(INVENTORY), "--quiet")[1]
    assert again["batches"] == planned(capsys, "quay", *FROM)[1]["batches"]


def test_every_demo_pair_is_planned_over_ssh_as_from_its_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.planning.datetime", datetime)
    opened = open_inventory(INVENTORY, rules.waivable())
    shift = EVENING - datetime.now(UTC)
    with demo.controllers(opened) as running:
        demo.prepare(opened, opened.pairs, running)
        live = plan_pairs(opened, opened.pairs, {}, connection="ssh", workers=8, shift=shift)
    job.prepare_recorded(opened.nornir, opened.pairs, FIXTURES)
    recorded = plan_pairs(opened, opened.pairs, {}, connection=job.RECORDED, workers=8, shift=shift)
    assert len(live) == len(opened.pairs)
    for one, other in zip(live, recorded, strict=True):
        assert one.plan.pair.name == other.plan.pair.name
        assert one.standing is other.standing, one.plan.pair.name
        assert one.plan.batches == other.plan.batches
        assert [problem.id for problem in one.plan.problems] == [problem.id for problem in other.plan.problems]
        # The simulated controllers were asked in time, so that their clients are counted at a moment.
        assert one.plan.notice is None or one.plan.notice.clients is None or one.plan.notice.counted_at is not None


def test_out_holds_the_plan_the_procedure_and_the_calendar(tmp_path: Path, inventory: Path) -> None:
    out = tmp_path / "out"
    assert main(["plan", "quay", *FROM, "--out", str(out)]) == 0
    assert {path.name for path in out.iterdir()} == {"plan.json", "plan.html", "procedure.html", "plan.ics"}
    assert "What the window takes: quay" in (out / "plan.html").read_text()
    assert "upgrade: activate in service" in (out / "procedure.html").read_text()
    window = fleet().pairs[0].window
    assert window is not None
    events = {event.name: event for event in Calendar((out / "plan.ics").read_bytes().decode()).events}
    assert events["quay: window, to 17.12.4"].begin.datetime == window.start
    assert "quay: hold point after restart-aps" in events
    # Without a window there is no calendar, and none from before is left.
    edit(inventory, "groups.yaml", window=None)
    assert main(["plan", "quay", "--from", str(FIXTURES), "--inventory", str(inventory), "--out", str(out)]) == 1
    assert not (out / "plan.ics").exists()


def test_a_plan_that_does_not_fit_says_by_how_much_and_what_would_make_it_fit(
    capsys: pytest.CaptureFixture[str], inventory: Path
) -> None:
    edit(inventory, "groups.yaml", window={"start": "2027-02-06T23:00:00+01:00", "minutes": 60})
    status, plan = planned(capsys, "quay", "--from", str(FIXTURES), "--inventory", str(inventory), "--quiet")
    assert (status, plan["standing"], plan["fits"]) == (1, "too long", False)
    problem = next(each for each in plan["problems"] if each["id"] == "too-long")
    late = -plan["times"]["slack_seconds"] / 60
    assert f"{int(late + 0.999)} minutes too late" in problem["statement"]
    assert "What would make it fit: a window of " in problem["remedy"]


def test_unknown_inputs_narrow_the_plan_openly(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, inventory: Path
) -> None:
    captures = tmp_path / "captures"
    for member in ("quay-a", "quay-b"):
        shutil.copytree(FIXTURES / member, captures / member)
        for name in ("show_ap_neighbor_summary.txt", "show_ap_dot11_5ghz_load_info.txt"):
            (captures / member / name).unlink()
    timings = yaml.safe_load((inventory / "policy.yaml").read_text())["timings"]
    del timings["validate"]
    edit(inventory, "policy.yaml", timings=timings)
    arguments = ("quay", "--from", str(captures), "--inventory", str(inventory), "--quiet")
    status, plan = planned(capsys, *arguments)
    assert (status, plan["standing"], plan["times"], plan["batches"]) == (1, "incomplete", None, None)
    needed = " ".join(each["needed"] for each in plan["unknowns"])
    assert "timings.validate" in needed
    assert "show ap neighbor summary" in needed
    assert main(["plan", *arguments]) == 1
    out = capsys.readouterr().out
    assert "What couldn't be computed" in out
    assert "timings.validate" in out


def test_history_beside_the_policy_replaces_its_timings(capsys: pytest.CaptureFixture[str], inventory: Path) -> None:
    arguments = ("quay", "--from", str(FIXTURES), "--inventory", str(inventory), "--quiet")
    (inventory / "history.yaml").write_text("stages: {validate: [30, 30, 30, 30]}\n")
    assert stage(planned(capsys, *arguments)[1], "validate")["source"] == "policy"
    (inventory / "history.yaml").write_text("stages: {validate: [30, 30, 30, 30, 30]}\n")
    found = stage(planned(capsys, *arguments)[1], "validate")
    assert (found["source"], found["estimate"]["likely"]) == ("history", 1800)


def stage(plan: dict[str, Any], id: str) -> dict[str, Any]:
    return next(dict(each) for each in plan["stages"] if each["id"] == id)


def test_another_target_can_be_planned(capsys: pytest.CaptureFixture[str]) -> None:
    status, plan = planned(capsys, "quay", *FROM, "--target", "17.13.1")
    assert (status, plan["target_release"]) == (1, "17.13.1")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "name one PAIR, or give --all for every pair"),
        (["quay", "--all"], "name one PAIR, or give --all for every pair"),
        (["quay", "--pairs", "q*"], "--pairs and --site narrow --all"),
        (["nobody"], "has no pair 'nobody'"),
        (["quay", "--target", "soon"], "--target: "),
        (["--all", "--site", "Atlantis"], "fits --site 'Atlantis'"),
    ],
)
def test_a_wrong_question_is_answered_with_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], sentence: str
) -> None:
    assert main(["plan", *arguments, *FROM]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert sentence in err
    assert len(err.splitlines()) == 1


def test_recordings_without_the_pair_and_broken_histories_are_wrong_questions(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, inventory: Path
) -> None:
    (tmp_path / "empty").mkdir()
    assert main(["plan", "quay", "--inventory", str(INVENTORY), "--from", str(tmp_path / "empty")]) == 2
    assert "holds no captures of quay" in capsys.readouterr().err
    (inventory / "history.yaml").write_text("stages: {reload: [1]}\n")
    assert main(["plan", "quay", "--inventory", str(inventory), "--from", str(FIXTURES)]) == 2
    assert "history.yaml: stages.reload: there is no stage 'reload'" in capsys.readouterr().err


def test_a_plan_is_made_as_of_its_own_moment(capsys: pytest.CaptureFixture[str]) -> None:
    made = datetime.fromisoformat(planned(capsys, "quay", *FROM)[1]["made"])
    assert abs(made - EVENING) < timedelta(seconds=1)


def test_the_help_names_the_files_that_a_plan_writes(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["plan", "quay", *FROM, "--out", str(tmp_path / "out")]) == 0
    capsys.readouterr()
    with pytest.raises(SystemExit):
        main(["plan", "--help"])
    told = capsys.readouterr().out
    assert "report.json" not in told
    for written in (tmp_path / "out").iterdir():
        assert written.name in told
