from __future__ import annotations

import errno
import fcntl
import json
import os
from pathlib import Path

import pytest

from collector import files as collector_files
from collector.report.board.folder import MANIFEST, BoardError, opened

PAGE, OTHER = "pairs/quay.html", "pairs/pontoon.html"


def board(path: Path, **pages: bytes) -> tuple[str, ...]:
    """Write a board of these pages, `pairs/NAME.html` each; returns what was left."""
    with opened(path) as folder:
        names = [f"pairs/{name}.html" for name in pages]
        folder.announce(names)
        for name, content in zip(names, pages.values(), strict=True):
            folder.write(name, content)
        return folder.close()


def files(path: Path) -> set[str]:
    return {str(each.relative_to(path)) for each in path.rglob("*") if each.is_file() or each.is_symlink()}


def test_a_new_folder_is_made_and_an_empty_one_taken(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for name in ("empty", "new/and/deep"):
        assert board(tmp_path / name, quay=b"1") == ()
        assert files(tmp_path / name) == {PAGE, MANIFEST}


def test_a_folder_of_others_is_refused_and_left_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(BoardError, match="holds files that are no board of readypair's; name a new or empty folder"):
        board(tmp_path, quay=b"1")
    assert files(tmp_path) == {"notes.txt"}


def test_pages_of_pairs_that_went_are_removed_and_nothing_else(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1", pontoon=b"1")
    (tmp_path / "pairs/mine.html").write_text("mine")
    (tmp_path / "notes.txt").write_text("mine")
    assert board(tmp_path, quay=b"2") == ()
    assert files(tmp_path) == {PAGE, MANIFEST, "pairs/mine.html", "notes.txt"}
    assert (tmp_path / PAGE).read_bytes() == b"2"


def test_a_page_that_somebody_else_has_written_since_is_left_and_told(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1", pontoon=b"1")
    (tmp_path / OTHER).write_text("my own notes on pontoon")
    assert board(tmp_path, quay=b"1") == (OTHER,)
    assert (tmp_path / OTHER).read_text() == "my own notes on pontoon"
    # It is nobody's but its writer's from then on.
    with pytest.raises(BoardError, match=r"pontoon\.html is no file of this board; move it away"):
        board(tmp_path, quay=b"1", pontoon=b"1")


def test_a_link_in_the_place_of_a_page_is_left(tmp_path: Path) -> None:
    board(tmp_path / "b", quay=b"1", pontoon=b"1")
    (tmp_path / "elsewhere").write_bytes(b"1")
    (tmp_path / "b" / OTHER).unlink()
    (tmp_path / "b" / OTHER).symlink_to(tmp_path / "elsewhere")
    assert board(tmp_path / "b", quay=b"1") == (OTHER,)
    assert (tmp_path / "elsewhere").read_bytes() == b"1"


def test_a_file_that_is_not_ours_is_never_written_over(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1")
    (tmp_path / OTHER).write_text("mine")
    with pytest.raises(BoardError, match=r"pontoon\.html is no file of this board; move it away, or name another"):
        board(tmp_path, quay=b"2", pontoon=b"2")
    assert (tmp_path / OTHER).read_text() == "mine"
    assert (tmp_path / PAGE).read_bytes() == b"1"


def test_what_a_killed_board_left_is_known_to_the_next(tmp_path: Path) -> None:
    # Without close(), as if it had been killed after the first page.
    with opened(tmp_path) as folder:
        folder.announce([PAGE, OTHER])
        folder.write(OTHER, b"half of the board")
    board(tmp_path, quay=b"1")
    assert files(tmp_path) == {PAGE, MANIFEST}


@pytest.mark.parametrize("full_at", [MANIFEST, PAGE])
def test_a_disk_that_is_full_leaves_nothing_in_the_way_of_the_next(
    full_at: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = collector_files.replace

    def full(path: Path, content: bytes, mode: int) -> None:
        if path == tmp_path / full_at:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        replace(path, content, mode)

    with monkeypatch.context() as patch:
        patch.setattr(collector_files, "replace", full)
        with pytest.raises(OSError, match="No space left"):
            board(tmp_path, quay=b"1")
    if full_at == MANIFEST:
        assert list(tmp_path.iterdir()) == []
    board(tmp_path, quay=b"1")
    assert files(tmp_path) == {PAGE, MANIFEST}


def test_our_own_empty_folders_are_no_files_of_others(tmp_path: Path) -> None:
    # As earlier versions left them on a full disk.
    for name in ("pairs", "pictures", "rules"):
        (tmp_path / name).mkdir()
    board(tmp_path, quay=b"1")
    assert files(tmp_path) == {PAGE, MANIFEST}


@pytest.mark.parametrize("name", ["pairs/notes.txt", "photographs/.keep"])
def test_a_folder_that_holds_more_than_that_is_of_others(name: str, tmp_path: Path) -> None:
    (tmp_path / name).parent.mkdir()
    (tmp_path / name).write_text("mine")
    (tmp_path / "pictures").mkdir()
    with pytest.raises(BoardError, match="holds files that are no board"):
        board(tmp_path, quay=b"1")


def test_a_folder_within_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "elsewhere").mkdir()
    board(tmp_path / "b")
    (tmp_path / "b/pairs").rmdir()
    (tmp_path / "b/pairs").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BoardError, match="is a link"):
        board(tmp_path / "b", quay=b"1")
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
        board(tmp_path, quay=b"1")


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o027, 0o640), (0o077, 0o600)])
def test_files_are_as_readable_as_the_umask_has_them(tmp_path: Path, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        board(tmp_path / "b", quay=b"1")
    finally:
        os.umask(before)
    for name in (PAGE, MANIFEST):
        assert (tmp_path / "b" / name).stat().st_mode & 0o777 == mode
    assert os.umask(before) == before


def test_the_list_names_every_file_with_its_digest(tmp_path: Path) -> None:
    board(tmp_path, quay=b"1")
    listed = json.loads((tmp_path / MANIFEST).read_text())["files"]
    assert listed == {PAGE: "6b86b273ff34fce19d6b804eff5a3f5747ada4eaa22f1d49c01e52ddb7875b4b"}


def test_a_list_that_is_a_link_is_not_believed(tmp_path: Path) -> None:
    board(tmp_path / "b", quay=b"1")
    (tmp_path / "b" / MANIFEST).rename(tmp_path / "list.json")
    (tmp_path / "b" / MANIFEST).symlink_to(tmp_path / "list.json")
    with pytest.raises(BoardError, match="holds files that are no board"):
        board(tmp_path / "b")
    assert (tmp_path / "b" / PAGE).exists()


def test_two_boards_at_once_do_not_mix(tmp_path: Path) -> None:
    with (
        opened(tmp_path),
        pytest.raises(BoardError, match="another board is being written into"),
    ):
        board(tmp_path, quay=b"1")
    assert board(tmp_path, quay=b"1") == ()


def test_where_there_are_no_locks_a_board_is_written_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", none)
    assert board(tmp_path, quay=b"1") == ()
