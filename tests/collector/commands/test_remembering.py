"""`--store` and `--keep-days` as a user meets them."""

from __future__ import annotations

import json
import os
import platform
import shutil
import sqlite3
import subprocess
import sys
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from collector import demo
from collector.cli import main
from collector.nights.night import Source, night_of
from collector.store.database import Database
from collector.store.store import Pruned, StoreError, opened
from collector.store.writing import Writer
from collector.watching import keeping
from collector.watching.watch import Outcome
from tests.collector.playing_pair import BEGINS
from tests.collector.watching.polls import play, polled, snapshot, start
from tests.postgresql import Server

INVENTORY = str(demo.inventory_folder())
FIXTURES = str(demo.fixtures_folder())
REPLAY = ("replay", FIXTURES, "--inventory", INVENTORY, "--quiet", "--pairs", "[qt]*")
PAIRS = ("quay", "tidewater", "twin-beacons")


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("STORE", "COLLECTOR", "INVENTORY"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)


def test_what_is_replayed_is_stored(store_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert main([*REPLAY, "--store", store_url]) == 1
    monkeypatch.setenv("READYPAIR_COLLECTOR", "north")
    assert main([*REPLAY, "--store", store_url, "--target", "17.9.5"]) == 1
    with opened(store_url, existing=True) as store:
        assert store.pairs() == PAIRS
        (night,) = store.nights("quay")
        assert (night.source, night.target_release) == (Source.REPLAY, "17.12.4")
        assert [room.member for room in night.rooms] == ["quay-a", "quay-b"]
        later, earlier = store.sweeps(last=5)
        assert (earlier.pairs, earlier.start.whole, later.start.whole) == (3, False, False)
        assert (earlier.start.collector, later.start.collector) == (platform.node(), "north")
        assert earlier.start.inventory == str(Path(INVENTORY).resolve())
        assert earlier.finished is not None


def test_a_sweep_of_every_pair_is_whole(tmp_path: Path) -> None:
    assert main([*REPLAY, "--pairs", "*", "--store", str(tmp_path / "nights.db")]) == 1
    with opened(str(tmp_path / "nights.db"), existing=True) as store:
        assert [sweep.start.whole for sweep in store.sweeps(last=2)] == [True]
        assert len(store.fleet_nights()) == 1


def test_the_demo_is_stored_on_the_evening_that_it_plays(tmp_path: Path) -> None:
    path = str(tmp_path / "nights.db")
    assert main(["demo", "--pairs", "quay", "--quiet", "--store", path, "--keep-days", "1"]) == 0
    with opened(path, existing=True) as store:
        (night,) = store.nights("quay")
        assert (night.night, night.source) == (night_of(demo.EVENING), Source.DEMO)
        (sweep,) = store.sweeps(last=1)
        assert sweep.finished is not None
        assert timedelta(0) < sweep.finished - sweep.start.started < timedelta(hours=1)


def test_the_option_wins_over_the_environment_and_an_empty_one_means_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("READYPAIR_STORE", str(tmp_path / "named.db"))
    main([*REPLAY, "--store", str(tmp_path / "option.db")])
    main([*REPLAY, "--store", ""])
    assert [path.name for path in tmp_path.iterdir()] == ["option.db"]
    main(REPLAY)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["named.db", "option.db"]


def test_keep_days_takes_out_what_is_older(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = str(tmp_path / "nights.db")
    asked: list[date] = []
    prune = Database.prune

    def watched(self: Database, before: date) -> Pruned:
        asked.append(before)
        return prune(self, before)

    monkeypatch.setattr(Database, "prune", watched)
    assert main([*REPLAY, "--store", path, "--keep-days", "30"]) == 1
    assert asked == [night_of(datetime.now().astimezone()) - timedelta(days=30)]
    assert main([*REPLAY, "--store", path]) == 1
    assert len(asked) == 1


@pytest.mark.parametrize("days", ["0", "-1", "x", "36501", "1.5"])
def test_keep_days_is_a_number_of_days(days: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*REPLAY, "--store", "x", "--keep-days", days])
    assert ended.value.code == 2
    assert "must be a whole number from 1 to 36500" in capsys.readouterr().err


def test_keep_days_without_a_store_is_a_wrong_question(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*REPLAY, "--keep-days", "3"]) == 2
    assert capsys.readouterr() == (
        "",
        "readypair: --keep-days is about a store; name it with --store or in READYPAIR_STORE\n",
    )


@pytest.mark.parametrize("command", ["replay", "demo", "sweep", "check"])
def test_a_store_that_cannot_be_used_is_told_before_anybody_is_asked(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("READYPAIR_USERNAME", "reader")
    monkeypatch.setenv("READYPAIR_PASSWORD", "reader")
    folder = tmp_path / "inventory"
    shutil.copytree(INVENTORY, folder)
    asked = {"replay": REPLAY, "demo": ("demo",), "sweep": ("sweep",), "check": ("check", "quay")}[command]
    status = main([*asked, "--quiet", "--inventory", str(folder), "--store", str(tmp_path)])
    out, err = capsys.readouterr()
    assert status == 2
    assert out == ""
    assert f"readypair: the store {tmp_path} is a folder; name a file\n" in err


def test_a_store_that_fails_on_the_way_costs_neither_verdict_nor_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = Writer.keep

    def failing(self, snapshot, result, **options):  # type: ignore[no-untyped-def]
        if result.pair.name == "tidewater":
            raise StoreError("the store x can't grow: the disk is full; make room there")
        keep(self, snapshot, result, **options)

    monkeypatch.setattr(Writer, "keep", failing)
    out = tmp_path / "out"
    assert main([*REPLAY, "--json", "--out", str(out), "--store", str(tmp_path / "nights.db")]) == 2
    said, err = capsys.readouterr()
    assert [pair["pair"] for pair in json.loads(said)["pairs"]] == ["quay", "tidewater", "twin-beacons"]
    assert json.loads((out / "report.json").read_text())["pairs"][1]["verdict"] == "go"
    assert (out / "captures" / "tidewater-a" / "manifest.json").is_file()
    sentence = "readypair: the store x can't grow: the disk is full; make room there; tidewater was not stored"
    assert [line for line in err.splitlines() if "store" in line] == [sentence]
    with opened(str(tmp_path / "nights.db"), existing=True) as store:
        assert store.pairs() == ("quay", "twin-beacons")


@pytest.mark.parametrize(
    "mangled",
    [
        "UPDATE judgements SET verdict = 'maybe', asked = '2020-01-01 00:00:00', night = '{night}'",
        "UPDATE sweeps SET source = 'sweep', whole = 1, started = 'late'",
    ],
)
def test_rows_that_nobody_wrote_cost_no_verdict(
    mangled: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "nights.db"
    assert main([*REPLAY, "--store", str(path)]) == 1
    capsys.readouterr()
    with sqlite3.connect(path) as other:
        before = night_of(datetime.now().astimezone()) - timedelta(days=1)
        other.execute(mangled.format(night=before))
    assert main([*REPLAY, "--json", "--store", str(path)]) == 2
    out, err = capsys.readouterr()
    assert [pair["verdict"] for pair in json.loads(out)["pairs"]] == ["go", "go", "no-go"]
    assert [line for line in err.splitlines() if "store" in line] == [
        f"readypair: the store {path} holds what no readypair wrote; put your last back-up in its place"
    ]


# An account of a full disk: what it writes beyond so many bytes of a file is refused.
SMALL = """
import resource
resource.setrlimit(resource.RLIMIT_FSIZE, (500_000, 500_000))
from collector.cli import run
run()
"""


def test_a_full_disk_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "nights.db"
    command = [sys.executable, "-c", SMALL, *REPLAY, "--pairs", "*", "--store", str(path)]
    ran = subprocess.run(command, capture_output=True, text=True, env=os.environ | {"COLUMNS": "80"})
    assert ran.returncode == 2
    assert "32 pairs:" in ran.stdout
    (sentence,) = [line for line in ran.stderr.splitlines() if "store" in line]
    assert sentence.startswith(f"readypair: the store {path} ")
    assert "pairs were not stored: " in sentence
    assert "Traceback" not in ran.stderr
    with opened(str(path), existing=True) as store:
        assert 0 < len(store.pairs()) < 32


def test_collectors_with_the_least_rights_can_store_and_readers_only_read(postgresql: Server) -> None:
    """What the README has a database's owner grant is enough, and no more."""
    name = postgresql.database()
    main([*REPLAY, "--store", postgresql.url(name)])
    writer, reader = f"collector_{name}", f"reader_{name}"
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    grants = [line for line in readme.splitlines() if line.strip().startswith("GRANT ")]
    assert len(grants) == 10
    postgresql.do(
        name,
        *(f"CREATE ROLE {role} LOGIN PASSWORD '{postgresql.password}'" for role in (writer, reader)),
        *(line.strip().replace("collectors", writer).replace("readers", reader) for line in grants),
    )
    assert main([*REPLAY, "--store", postgresql.url(name, writer), "--keep-days", "1"]) == 1
    with opened(postgresql.url(name, writer), existing=True) as store:
        watch = keeping.begun(store, start(), "/etc/readypair", "north", BEGINS)
        keeping.StoreKeeper(watch.writer).finish(BEGINS, Outcome.DONE, {"expand": 300.0})
        watch = keeping.begun(store, start(), "/etc/readypair", "north", BEGINS)
        watch.writer.keep(polled(60)[1][0], (), snapshot(play(), 0.0))
        keeping.leave(store, store.watches("quay"), BEGINS)
        assert store.prune(BEGINS.date() + timedelta(days=1)).captures > 0
    with opened(postgresql.url(name, reader), existing=True) as store:
        assert store.pairs() == PAIRS
        assert len(store.sweeps(last=5)) == 2
    assert main([*REPLAY, "--store", postgresql.url(name, reader)]) == 2
