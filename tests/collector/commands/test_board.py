"""`board` as a user meets it."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from collector import demo
from collector.cli import main

INVENTORY = str(demo.inventory_folder())
FIXTURES = str(demo.fixtures_folder())
REPLAY = ("replay", FIXTURES, "--inventory", INVENTORY, "--quiet", "--pairs", "t*")


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("STORE", "INVENTORY"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = str(tmp_path_factory.mktemp("store") / "nights.db")
    assert main([*REPLAY, "--store", path]) == 1
    return path


def refused(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    """What is said where the question was wrong."""
    assert main(["board", *map(str, arguments)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err


def test_it_writes_the_board_and_says_where(store_url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*REPLAY, "--store", store_url]) == 1
    capsys.readouterr()
    # Its pairs aren't all go; that the board was written is all that its exit status tells.
    assert main(["board", "--store", store_url, "--out", str(tmp_path / "b")]) == 0
    told = capsys.readouterr()
    assert told.out == f"{tmp_path}/b/index.html: 2 pairs: 1 no-go, 0 undecided, 0 not asked, 1 go\n"
    assert told.err == ""
    assert "tidewater" in (tmp_path / "b/index.html").read_text()


def test_the_store_may_stand_in_the_environment(store: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("READYPAIR_STORE", store)
    assert main(["board", "--out", str(tmp_path / "b")]) == 0


def test_an_inventory_brings_the_pairs_that_were_never_asked(store: str, tmp_path: Path) -> None:
    assert main(["board", "--store", store, "--out", str(tmp_path / "b"), "--inventory", INVENTORY]) == 0
    assert "No sweep has an answer" in (tmp_path / "b/pairs/quay.html").read_text()


def test_plans_stand_on_the_pages_of_their_pairs(store: str, tmp_path: Path) -> None:
    plan = ["plan", "--all", "--from", FIXTURES, "--inventory", INVENTORY, "--pairs", "tide*", "--quiet"]
    assert main([*plan, "--out", str(tmp_path / "plans")]) in (0, 1)
    assert main(["board", "--store", store, "--out", str(tmp_path / "b"), "--plans", str(tmp_path / "plans")]) == 0
    assert 'href="../plan.html#pair-tidewater"' in (tmp_path / "b/pairs/tidewater.html").read_text()
    assert "hold none of this pair" in (tmp_path / "b/pairs/twin-beacons.html").read_text()


def test_it_needs_a_store_that_is_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "name the store with --store URL or FILE" in refused(capsys, "--out", tmp_path / "b")
    assert "there is no store" in refused(capsys, "--out", tmp_path / "b", "--store", tmp_path / "none.db")
    assert not (tmp_path / "b").exists()


def test_it_leaves_a_folder_of_others_alone(store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    said = refused(capsys, "--out", tmp_path, "--store", store)
    assert said.startswith(f"readypair: {tmp_path} holds files that are no board of readypair's; name a new or empty")
    assert [each.name for each in tmp_path.iterdir()] == ["notes.txt"]


def test_a_file_in_the_folders_place_is_one_sentence(
    store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "b").write_text("mine")
    assert str(tmp_path / "b") in refused(capsys, "--out", tmp_path / "b", "--store", store)


def test_a_page_of_somebody_elses_is_left_and_told(
    store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = ["--store", store, "--out", str(tmp_path / "b")]
    plan = ["plan", "--all", "--from", FIXTURES, "--inventory", INVENTORY, "--pairs", "tide*", "--quiet"]
    main([*plan, "--out", str(tmp_path / "plans")])
    assert main(["board", *out, "--plans", str(tmp_path / "plans")]) == 0
    (tmp_path / "b/plan.html").write_text("my own")
    capsys.readouterr()
    assert main(["board", *out]) == 0
    assert capsys.readouterr().err == (
        f"readypair: {tmp_path}/b/plan.html isn't wanted any more, but somebody else has written it: it was left\n"
    )
    assert (tmp_path / "b/plan.html").read_text() == "my own"
    assert not (tmp_path / "b/procedure.html").exists()


def test_without_its_library_it_says_what_to_install(
    store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    said = refused(capsys, "--out", tmp_path / "b", "--store", store)
    assert said == "readypair: the board's pictures are drawn by matplotlib; install it with: pip install '.[board]'\n"


def test_the_library_says_nothing_of_its_own(store: str, tmp_path: Path) -> None:
    # Its first run makes a list of fonts, and without a home it looks for another place: nobody needs to read of that.
    command = [sys.executable, "-c", "from collector.cli import run; run()", "board", "--store", store]
    for home in (tmp_path / "new", Path("/proc/none")):
        environment = {**os.environ, "HOME": str(home), "XDG_CONFIG_HOME": str(home), "XDG_CACHE_HOME": str(home)}
        environment.pop("MPLCONFIGDIR", None)
        done = subprocess.run(
            [*command, "--out", str(tmp_path / f"b-{home.name}")], capture_output=True, text=True, env=environment
        )
        assert (done.returncode, done.stderr) == (0, "")


def test_plans_that_are_none_are_told_of(store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = refused(capsys, "--out", tmp_path / "b", "--store", store, "--plans", tmp_path)
    assert "has no plan.json; name the folder that `readypair plan --all --out` wrote to" in said
    assert not (tmp_path / "b").exists()
