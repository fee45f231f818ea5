from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from collector import files


def test_a_file_is_its_owners_and_nothing_else_is_left(tmp_path: Path) -> None:
    file = tmp_path / "x.txt"
    file.write_bytes(b"before")
    files.replace(file, b"after\r\n\xff")
    assert file.read_bytes() == b"after\r\n\xff"
    assert file.stat().st_mode & 0o777 == 0o600
    assert list(tmp_path.iterdir()) == [file]


def test_a_file_that_is_meant_for_others_has_the_mode_that_it_is_given(tmp_path: Path) -> None:
    file = tmp_path / "x.html"
    files.replace(file, b"", 0o644)
    assert file.stat().st_mode & 0o777 == 0o644


def test_a_disk_that_takes_no_more_is_one_sentence_and_what_stood_there_stays(tmp_path: Path) -> None:
    # A limit on the size of files refuses a write as a full disk does, without a name. Caches of bytecode (-B) and of
    # TTP's (read once before) would be cut off by it too.
    (tmp_path / "report.json").write_text("before")
    limited = (
        "import resource, sys\n"
        "from collector import cli, demo\n"
        "from parsers import read\n"
        "read('show clock', '22:00:00.000 CET Fri Feb 5 2027')\n"
        "inventory, recorded = str(demo.inventory_folder()), str(demo.fixtures_folder())\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "asked = ['replay', recorded, '--inventory', inventory, '--pairs', 'quay', '--quiet']\n"
        "sys.exit(cli.main([*asked, '--out', sys.argv[1]]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", limited, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    refused = [line for line in done.stderr.splitlines() if "File too large" in line]
    assert [str(tmp_path) in line for line in refused] == [True, True]
    # What it costs is the files, and no verdict.
    assert "quay" in done.stdout
    assert (tmp_path / "report.json").read_text() == "before"


def test_what_is_no_fault_of_the_disk_goes_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        files.replace(tmp_path / "x.txt", b"")
    assert list(tmp_path.iterdir()) == []
