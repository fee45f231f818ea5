from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector import output


def test_files_are_for_the_owner_only(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    output.prepare(out)
    output.write(out / "report.json", "{}\n")
    assert out.stat().st_mode & 0o777 == 0o700
    assert (out / "report.json").stat().st_mode & 0o777 == 0o600


def test_a_file_is_replaced_in_one_step_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "report.json"
    output.write(file, "before")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", str(file))

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        output.write(file, "after")
    assert file.read_text() == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["report.json"]


def test_a_file_whose_pieces_break_off_is_not_replaced(tmp_path: Path) -> None:
    def pieces() -> Iterator[str]:
        yield "half"
        raise ValueError

    file = tmp_path / "report.json"
    output.write(file, ["bef", "ore"])
    with pytest.raises(ValueError, match=r"\A\Z"):
        output.write(file, pieces())
    assert file.read_text() == "before"
    assert list(tmp_path.iterdir()) == [file]


def test_a_folder_that_cannot_be_written_to_is_told_before_anything_is_asked(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OSError, match="file"):
        output.prepare(tmp_path / "file" / "out")
