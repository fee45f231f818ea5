from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from collector.report.board.folder import MANIFEST, BoardError, Folder, opened

PAGE, OTHER = "pairs/quay.html", "pairs/pontoon.html"


def board(path: Path, **pages: bytes) -> Folder:
    """A board of these pages, `pairs/NAME.html` each."""
    folder = opened(path)
    names = [f"pairs/{name}.html" for name in pages]
    folder.announce(names)
    for name, content in zip(names, pages.values(), strict=True):
        folder.write(name, content)
    return folder


def files(path: Path) -> set[str]:
    return {str(each.relative_to(path)) for each in path.rglob("*") if each.is_file() or each.is_symlink()}


def test_a_new_folder_is_made_and_an_empty_one_taken(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for name in ("empty", "new/and/deep"):
        assert board(tmp_path / name, quay=b"1").close() == ()
        assert files(tmp_path / name) == {PAGE, MANIFEST}


def test_a_folder_of_others_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(BoardError, match="holds files that are no board of readypair's; name a new or empty folder"):
        opened(tmp_path)
    assert files(tmp_path) == {"notes.txt"}


def test_pages_of_pairs_that_went_are_removed_and_nothing_else(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1", pontoon=b"1").close()
    (tmp_path / "pairs/mine.html").write_text("mine")
    (tmp_path / "notes.txt").write_text("mine")
    assert board(tmp_path, quay=b"2").close() == ()
    assert files(tmp_path) == {PAGE, MANIFEST, "pairs/mine.html", "notes.txt"}
    assert (tmp_path / PAGE).read_bytes() == b"2"


def test_a_page_that_somebody_else_has_written_since_is_left_and_told(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1", pontoon=b"1").close()
    (tmp_path / OTHER).write_text("my own notes on pontoon")
    assert board(tmp_path, quay=b"1").close() == (OTHER,)
    assert (tmp_path / OTHER).read_text() == "my own notes on pontoon"
    # It is nobody's but its writer's from then on.
    with pytest.raises(BoardError, match=r"pontoon\.html is no file of this board; move it away"):
        board(tmp_path, quay=b"1", pontoon=b"1")


def test_a_link_in_the_place_of_a_page_is_left(tmp_path: Path) -> None:
    board(tmp_path / "b", quay=b"1", pontoon=b"1").close()
    (tmp_path / "elsewhere").write_bytes(b"1")
    (tmp_path / "b" / OTHER).unlink()
    (tmp_path / "b" / OTHER).symlink_to(tmp_path / "elsewhere")
    assert board(tmp_path / "b", quay=b"1").close() == (OTHER,)
    assert (tmp_path / "elsewhere").read_bytes() == b"1"


def test_a_file_that_is_not_ours_is_never_written_over(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1").close()
    (tmp_path / OTHER).write_text("mine")
    folder = opened(tmp_path)
    with pytest.raises(BoardError, match=r"pontoon\.html is no file of this board; move it away, or name another"):
        folder.announce([PAGE, OTHER])
    assert (tmp_path / OTHER).read_text() == "mine"
    assert (tmp_path / PAGE).read_bytes() == b"1"


def test_what_a_killed_board_left_is_known_to_the_next(tmp_path: Path) -> None:
    # Without close(), as if it had been killed after the first page.
    folder = opened(tmp_path)
    folder.announce([PAGE, OTHER])
    folder.write(OTHER, b"half of the board")
    board(tmp_path, quay=b"1").close()
    assert files(tmp_path) == {PAGE, MANIFEST}


def test_a_folder_within_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "elsewhere").mkdir()
    folder = opened(tmp_path / "b")
    (tmp_path / "b/pairs").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BoardError, match="is a link"):
        folder.announce([PAGE])
    assert list((tmp_path / "elsewhere").iterdir()) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "[" * 100_000,
        "{}",
        '{"tool": "readypair", "board": 2, "files": {}}',
        '{"tool": "readypair", "board": 1, "files": {"../notes.txt": null}}',
        '{"tool": "readypair", "board": 1, "files": {"/etc/passwd": null}}',
        '{"tool": "readypair", "board": 1, "files": {"notes.txt": null}}',
        '{"tool": "readypair", "board": 1, "files": {"pairs/quay.html": 1}}',
        '{"tool": "readypair", "board": 1, "files": {"pairs/quay.html\\n": null}}',
        "\udcff",
    ],
)
def test_a_list_that_we_would_not_have_written_is_not_believed(tmp_path: Path, text: str) -> None:
    (tmp_path / MANIFEST).write_text(text, errors="surrogateescape")
    with pytest.raises(BoardError, match=r"board\.json isn't the list of a board's files"):
        opened(tmp_path)


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o027, 0o640), (0o077, 0o600)])
def test_files_are_as_readable_as_the_umask_has_them(tmp_path: Path, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        board(tmp_path / "b", quay=b"1").close()
    finally:
        os.umask(before)
    for name in (PAGE, MANIFEST):
        assert (tmp_path / "b" / name).stat().st_mode & 0o777 == mode
    assert os.umask(before) == before


def test_the_list_names_every_file_with_its_digest(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1").close()
    listed = json.loads((tmp_path / MANIFEST).read_text())["files"]
    assert listed == {PAGE: "6b86b273ff34fce19d6b804eff5a3f5747ada4eaa22f1d49c01e52ddb7875b4b"}
