"""Commands on stores in which somebody wrote what no readypair writes: one sentence, exit 2 or an answer, nothing else.

See `test_trouble.py` for files that are no store, for locks, rights and passwords, and for what is packed too well.
"""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from collector import cli
from collector.store.schema import REVISION_TABLE
from collector.store.store import opened
from tests.collector.store.judged import judged, kept


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("good") / "nights.db"
    with opened(str(path)) as store:
        kept(store, judged())
    return path


NOBODY_WROTE = "holds what no readypair wrote; put your last back-up in its place"
REPLACED = "ALTER TABLE judgements RENAME TO another; CREATE VIEW judgements AS SELECT 1 AS a;"
CASES = {
    "UPDATE judgements SET pair = x'ff00'": NOBODY_WROTE,
    "UPDATE judgements SET night = '9999-12-31', judged = '9999-12-31 23:59:59.000000'": NOBODY_WROTE,
    "UPDATE judgements SET night = '0001-01-01'": NOBODY_WROTE,
    "UPDATE judgements SET site = CAST(x'ff80' AS TEXT)": "can't be used: Could not decode to UTF-8",
    "UPDATE contents SET packed = x'deadbeef'": "holds a damaged text",
    "UPDATE contents SET packed = 'text'": NOBODY_WROTE,
    "UPDATE contents SET digest = randomblob(32)": "holds a damaged text",
    f"PRAGMA foreign_keys = OFF; {REPLACED}": "can't be used: no such column",
    f"UPDATE {REVISION_TABLE} SET version_num = '9999'": "was written by a later readypair",
}


@pytest.mark.parametrize("mangled", CASES)
def test_every_reader_says_it_in_one_sentence(
    mangled: str, good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "nights.db"
    shutil.copy(good, path)
    with sqlite3.connect(path) as other:
        other.executescript(mangled)
    other.close()
    for command in (
        ["history"],
        ["history", "quay"],
        ["changes", "--since", "2026-11-01"],
        ["board", "--out", str(tmp_path / "board")],
    ):
        status = cli.main([*command, "--store", str(path)])
        out, err = capsys.readouterr()
        if status == 2:
            assert out == ""
            assert err.count("\n") == 1
            known = CASES[mangled] in err or "the store has no pair 'quay'" in err
            assert known, err
        else:
            # What it doesn't look at.
            assert status == 0
            assert "Traceback" not in err
    assert cli.main(["history", "--store", str(path)]) == 2


def test_names_and_words_of_a_database_steer_no_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as other:
        other.execute('CREATE TABLE "x\x1b[2J\u202e\ny" (a)')
    other.close()
    assert cli.main(["history", "--store", str(path)]) == 2
    err = capsys.readouterr().err
    assert err.rstrip("\n").isprintable()
    assert r"holds tables of another program (x\x1b[2J\u202e\x0ay)" in err
