"""`baseline` and `compare` as a user meets them: a played pair over SSH, stored nights and recorded folders."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from collector import demo, playing, recording
from collector.capture import Capture
from collector.cli import main
from collector.nights.night import Source
from collector.played_upgrade import Failure, Pace, Play
from collector.playing import Playing
from collector.snapshot import MemberSnapshot, Snapshot
from collector.store.store import opened
from tests.collector.comparing.played import GOOD, after, before, taken
from tests.collector.store.judged import start
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

# In real time, so that its clocks stay right; nothing happens by itself until long after the tests are over.
IN_TIME = replace(GOOD.upgrade, pace=Pace(before=36_000.0, speed=1.0))
PAIR = "quay"


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("STORE", "COLLECTOR"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)
    monkeypatch.setenv("READYPAIR_INVENTORY", str(INVENTORY))
    monkeypatch.setenv("COLUMNS", "80")


@contextmanager
def quay(folder: Path, monkeypatch: pytest.MonkeyPatch, failure: Failure | None = None) -> Iterator[Playing]:
    """The pair, played so that its clocks are right when the play is over, and an inventory that leads to it."""
    upgrade = replace(IN_TIME, failure=failure)
    begins = datetime.now().astimezone() - timedelta(seconds=Play(upgrade).moment("validate" if failure else "after"))
    own = {name: FIXTURES / name for name in ("quay-a", "quay-b")}
    with playing.play(own, upgrade, begins=begins) as played:
        playing._write_inventory(fleet(), played, folder / "inventory")
        # The window of the inventory is in 2027, and this machine's clock is not.
        groups = yaml.safe_load((folder / "inventory" / "groups.yaml").read_text())
        groups[PAIR]["data"]["window"]["start"] = (datetime.now().astimezone() + timedelta(days=1)).isoformat()
        (folder / "inventory" / "groups.yaml").write_text(yaml.safe_dump(groups, sort_keys=False))
        monkeypatch.setenv("READYPAIR_INVENTORY", str(folder / "inventory"))
        monkeypatch.setenv("READYPAIR_KNOWN_HOSTS", str(folder / "inventory" / "known_hosts"))
        monkeypatch.setenv("READYPAIR_USERNAME", played.fleet.credentials.username)
        monkeypatch.setenv("READYPAIR_PASSWORD", played.fleet.credentials.password)
        yield played


def catch_up(played: Playing) -> None:
    """Go to the moment of the play at which its clocks show this machine's time."""
    played.set_elapsed((datetime.now().astimezone() - played.time_of(0.0)).total_seconds())


def told(capsys: pytest.CaptureFixture[str]) -> Mapping[str, Any]:
    found: Mapping[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_window_from_its_baseline_to_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], store_url: str
) -> None:
    kept, out = ("--store", store_url, "--quiet"), tmp_path / "before"
    with quay(tmp_path, monkeypatch) as played:
        assert main(["baseline", PAIR, *kept, "--out", str(out)]) == 0
        shown = capsys.readouterr().out
        assert "Clients        212" in shown
        assert "WLANs          2 of 3 enabled" in shown
        assert (out / "report.json").is_file()
        # The store's baseline, and the same one as a folder.
        assert main(["compare", PAIR, *kept]) == 1
        assert "faulty: something didn't come back" in capsys.readouterr().out
        catch_up(played)
        assert main(["compare", PAIR, *kept, "--out", str(tmp_path / "after")]) == 0
        shown = capsys.readouterr().out
        assert "clean: everything came back" in shown
        assert "Expected of the upgrade" in shown
        assert all(len(line) <= 80 for line in shown.splitlines())
        assert main(["compare", PAIR, "--from", str(out), "--quiet", "--json"]) == 0
        found = told(capsys)
        assert (found["schema"], found["pair"], found["standing"], found["upgrade"]) == (1, PAIR, "clean", True)
        assert found == {**json.loads((tmp_path / "after" / "comparison.json").read_text()), "after": found["after"],
                         "differences": found["differences"]}  # fmt: skip
    with opened(store_url, existing=True) as store:
        (stored,) = store.baselines(PAIR)
        assert len(store.captures(stored.judgement)["quay-a"]) > len(demo_commands())
        assert [sweep.start.source for sweep in store.sweeps(last=5)][-1] is Source.BASELINE
        assert {sweep.start.source for sweep in store.sweeps(last=5)} == {Source.BASELINE, Source.COMPARE}
    # Without a network, from what both commands wrote.
    sides = ("--from", str(out), "--to", str(tmp_path / "after"))
    assert main(["compare", PAIR, *sides]) == 0
    assert "17.12.4, an upgrade" in capsys.readouterr().out


def demo_commands() -> list[Capture]:
    from parsers import catalogue

    return recording.load(FIXTURES, "quay-a", catalogue.asked())


def test_a_window_that_lost_access_points(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = ("--store", str(tmp_path / "nights.db"), "--quiet")
    with quay(tmp_path, monkeypatch, "aps-missing") as played:
        assert main(["baseline", PAIR, *kept[:2], "--json"]) == 0
        said = capsys.readouterr()
        assert json.loads(said.out)["figures"]["access_points"] == 24
        assert "1/1 quay: readiness for an upgrade: " in said.err
        catch_up(played)
        assert main(["compare", PAIR, *kept]) == 1
        shown = " ".join(capsys.readouterr().out.split())
        assert "8 access points of 24 are missing: quay-car-deck-06, quay-car-deck-18" in shown
        assert shown.index("Faults") < shown.index("Expected of the upgrade") < shown.index("In order")


def test_a_baseline_of_a_member_that_is_away_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with quay(tmp_path, monkeypatch) as played:
        played.go_to("reload-standby")
        assert main(["baseline", PAIR, "--store", str(tmp_path / "nights.db"), "--quiet"]) == 1
        assert "Not known, and so never clean afterwards" in capsys.readouterr().out


def remember(file: Path, *sides: tuple[Source, Snapshot]) -> str:
    """A store of these judgements; returns its name."""
    from collector.judging import judge_snapshot

    with opened(str(file)) as store:
        for source, snapshot in sides:
            writer = store.begin(start(snapshot.moment, source))
            writer.keep(snapshot, judge_snapshot(snapshot, fleet().policy), planned=True)
    return str(file)


def test_two_stored_nights(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The play begins at 23:00 on the 6th and ends after midnight: one night. A day later it is the next one.
    later = taken(GOOD, 86_400.0)
    store = remember(tmp_path / "nights.db", (Source.SWEEP, before()), (Source.SWEEP, later))
    nights = ("--from", "2027-02-06", "--to", "2027-02-07", "--store", store)
    assert main(["compare", PAIR, *nights, "--json"]) == 0
    found = told(capsys)
    assert (found["standing"], found["upgrade"], found["target_release"]) == ("clean", True, "17.12.4")
    assert main(["compare", PAIR, *nights, "--target", "17.9.4a"]) == 1
    assert "to explain" in capsys.readouterr().out
    assert main(["compare", PAIR, "--from", "2027-02-06", "--to", "2027-02-06", "--store", store]) == 2
    said = capsys.readouterr()
    assert (said.out, "are both 2027-02-06, one judgement of quay; name two nights" in said.err) == ("", True)


def test_folders_of_ordinary_sweeps_say_what_they_lack(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from parsers import catalogue

    ordinary = {each.text for each in catalogue.asked()}
    for name, snapshot in (("one", before()), ("other", taken(GOOD, 60.0))):
        for member in snapshot.members:
            own = [capture for command, capture in member.captures.items() if command in ordinary]
            recording.write(tmp_path / name, member.name, own)
    sides = ("--from", str(tmp_path / "one"), "--to", str(tmp_path / "other"))
    assert main(["compare", PAIR, *sides]) == 0
    assert "Not compared" in capsys.readouterr().out
    # A baseline's folder lists what it was asked, so that what is taken out of it is missed.
    for member in before().members:
        recording.write(tmp_path / "one", member.name, list(member.captures.values()))
        (tmp_path / "one" / member.name / "show_wlan_summary.txt").unlink()
    for member in taken(GOOD, 60.0).members:
        recording.write(tmp_path / "other", member.name, list(member.captures.values()))
    assert main(["compare", PAIR, *sides]) == 1
    assert "not everything could be compared" in capsys.readouterr().out


def test_the_baseline_of_before_the_window_counts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The window begins at 23:00 on the 6th: the baseline of the day before counts, not the one amid the window.
    amid = taken(GOOD, GOOD.moment("validate"))
    store = remember(tmp_path / "nights.db", (Source.BASELINE, amid))
    recorded = tmp_path / "after"
    for member in after().members:
        recording.write(recorded, member.name, list(member.captures.values()))
    arguments = ["compare", PAIR, "--to", str(recorded), "--store", store]
    main(arguments)
    assert "was taken when the window had begun already" in capsys.readouterr().err
    first, second = before().members
    moved = replace(before(), members=(_earlier(first), _earlier(second)))
    remember(tmp_path / "nights.db", (Source.BASELINE, moved))
    assert main(arguments) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert "Before    2027-02-06 22:00" in said.out


def _earlier(member: MemberSnapshot) -> MemberSnapshot:
    captures = {
        command: replace(capture, started=capture.started - timedelta(hours=1))
        for command, capture in member.captures.items()
        if capture.started is not None
    }
    return replace(member, captures=captures)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["baseline", PAIR], "a baseline has to be kept: name a store with --store"),
        (["baseline", "nowhere", "--out", "x"], "has no pair 'nowhere'"),
        (["compare", PAIR], "name the store that holds the baseline with --store"),
        (["compare", PAIR, "--store", "STORE"], "take one before the next window with: readypair baseline quay"),
        (["compare", PAIR, "--from", "2027-02-06"], "name the store that holds the night 2027-02-06"),
        (["compare", PAIR, "--from", "2027-02-06", "--store", "STORE"], "holds no night 2027-02-06 of quay"),
        (["compare", PAIR, "--from", "EMPTY", "--to", "./EMPTY"], "are both EMPTY, one judgement of quay"),
        (["baseline", PAIR, "--out", "STORE"], "--out STORE is a file; name a folder"),
        (["compare", PAIR, "--from", "nowhere"], "nowhere: there is no such folder"),
        (["compare", PAIR, "--from", "EMPTY"], "holds no captures of quay"),
        (["compare", PAIR, "--from", "EMPTY", "--to", "EMPTY", "--keep-days", "3"], "--keep-days is about what is"),
        (["compare", PAIR, "--target", "new", "--from", "x"], "--target: 'new' is not a release"),
    ],
)
def test_a_wrong_question_is_one_sentence(
    arguments: list[str],
    sentence: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "EMPTY").mkdir()
    with opened(str(tmp_path / "STORE")):
        pass
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert sentence in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""


@pytest.mark.parametrize(
    ("side", "sentence"),
    [
        ("2027-13-01", "'2027-13-01' is no date of the calendar"),
        ("2027-2-1", "'2027-2-1' is no date of the calendar; write it as 2027-01-31"),
        ("FILE", "'FILE' is a file; name a night such as 2027-01-31, or a folder"),
    ],
)
def test_a_side_that_is_neither_a_date_nor_a_folder(
    side: str, sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "FILE").touch()
    try:
        status = main(["compare", PAIR, "--from", side])
    except SystemExit as stopped:
        status = int(stopped.code or 0)
    assert (status, sentence in capsys.readouterr().err) == (2, True)


def test_what_retention_took_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = remember(tmp_path / "nights.db", (Source.SWEEP, before()), (Source.SWEEP, taken(GOOD, 86_400.0)))
    with opened(name) as store:
        store.prune(demo.EVENING.date() + timedelta(days=30))
    assert main(["compare", PAIR, "--from", "2027-02-06", "--to", "2027-02-07", "--store", name]) == 2
    assert "were taken out of the store, as --keep-days says" in capsys.readouterr().err
