from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector import demo, output
from collector.cli import main
from collector.report.board import folder, making
from collector.report.board.folder import MANIFEST, BoardError
from collector.report.board.site import Planned
from collector.rules import CATALOGUE
from collector.store.store import StoreError
from tests.collector.report.board.conftest import written
from tests.collector.report.board.sample import LAST, PONTOON, QUAY, MemoryStore, fleet
from tests.collector.report.board.test_plans import PLANS

MADE = datetime(2027, 2, 6, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A store with a night of the demo's pairs whose names begin with t."""
    path = str(tmp_path_factory.mktemp("store") / "nights.db")
    replay = ["replay", str(demo.fixtures_folder()), "--inventory", str(demo.inventory_folder()), "--quiet"]
    assert main([*replay, "--pairs", "t*", "--store", path]) == 1
    return path


def files(folder: Path) -> dict[str, bytes]:
    return {str(each.relative_to(folder)): each.read_bytes() for each in folder.rglob("*") if each.is_file()}


def test_several_processes_write_the_same_as_one(store: str, tmp_path: Path) -> None:
    for processes in (1, 2):
        board, left = making.make(store, tmp_path / str(processes), MADE, processes=processes)
        assert [row.name for row in board.rows] == ["tidewater", "twin-beacons"]
        assert left == ()
    assert files(tmp_path / "1") == files(tmp_path / "2")


def test_a_board_is_all_that_its_list_names(store: str, tmp_path: Path) -> None:
    making.make(store, tmp_path, MADE)
    assert set(files(tmp_path)) == {MANIFEST, *json.loads((tmp_path / MANIFEST).read_text())["files"]}
    assert set(files(tmp_path)) == {
        MANIFEST,
        "index.html",
        "board.css",
        "board.js",
        "pairs/tidewater.html",
        "pairs/twin-beacons.html",
        *(f"rules/{rule.id}.html" for rule in CATALOGUE),
    }


def test_the_fleets_page_comes_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []

    def noted(path: Path, name: str, content: bytes, mode: int) -> str:
        order.append(name)
        return write(path, name, content, mode)

    write = folder.write
    monkeypatch.setattr(folder, "write", noted)
    written(fleet(), tmp_path / "b")
    assert order[-1] == "index.html"
    for pair in ("quay", "pontoon"):
        assert order.index(f"pictures/{pair}-history.svg") < order.index(f"pairs/{pair}.html")


def test_pages_of_a_pair_that_left_the_inventory_go(tmp_path: Path) -> None:
    store = MemoryStore()
    for result in (QUAY, PONTOON):
        store.add(result, LAST)
    written(store, tmp_path / "b")
    assert (tmp_path / "b/pairs/pontoon.html").exists()
    written(store, tmp_path / "b", [Planned("quay", "Harbour Quay", None)])
    assert (tmp_path / "b/pairs/quay.html").exists()
    assert not (tmp_path / "b/pairs/pontoon.html").exists()


def test_a_pair_that_was_never_asked_has_a_page(tmp_path: Path) -> None:
    written(MemoryStore(), tmp_path / "b", [Planned("new", "New Site", None)])
    assert "No sweep has an answer of this pair yet" in (tmp_path / "b/pairs/new.html").read_text()


def test_an_empty_store_gives_an_empty_board(tmp_path: Path) -> None:
    written(MemoryStore(), tmp_path / "b")
    text = (tmp_path / "b/index.html").read_text()
    assert "0 pairs at 0 sites. No sweep of the whole fleet is stored yet." in text
    assert "No answer of a controller is stored yet" in text


def test_plans_are_taken_over_as_they_stand(tmp_path: Path) -> None:
    output.write_plans(tmp_path, PLANS, "inventory/demo")
    store = MemoryStore()
    for each in PLANS:
        store.add(each.ready, LAST)

    @contextmanager
    def opened(url: str, *, existing: bool = False) -> Iterator[object]:
        yield store.store

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "opened", opened)
        from collector.report.board.plans import read_plans

        making.make("memory", tmp_path / "b", MADE, plans=(tmp_path, read_plans(tmp_path)))
    for page in ("plan.html", "procedure.html"):
        assert (tmp_path / "b" / page).read_bytes() == (tmp_path / page).read_bytes()
    name = PLANS[0].plan.pair.name
    assert f'<a href="../plan.html#pair-{name}">The whole plan</a>' in (tmp_path / f"b/pairs/{name}.html").read_text()


def test_what_goes_wrong_in_a_process_of_its_own_is_told_as_it_is(store: str, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store"):
        making.make(str(tmp_path / "none.db"), tmp_path / "b", MADE)
    (tmp_path / "c").mkdir()
    (tmp_path / "c/mine").touch()
    with pytest.raises(BoardError, match="holds files that are no board"):
        making.make(store, tmp_path / "c", MADE, processes=2)
    making.make(store, tmp_path / "d", MADE)
    (tmp_path / "d/pairs/tidewater.html").unlink()
    (tmp_path / "d/pairs/tidewater.html").mkdir()
    with pytest.raises(OSError, match=r"tidewater\.html") as caught:
        making.make(store, tmp_path / "d", MADE, processes=2)
    assert caught.value.filename is not None
