"""The lock: one sweep of an inventory at a time, as long as its process lives and no longer."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from collector.locking import Busy, alone

HOLD = (
    "import sys\nfrom pathlib import Path\nfrom collector.locking import alone\n"
    "with alone(Path(sys.argv[1])):\n    print('held', flush=True)\n    sys.stdin.read()\n"
)


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("READYPAIR_STATE", str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture
def inventory(tmp_path: Path) -> Path:
    folder = tmp_path / "inventory"
    folder.mkdir()
    return folder


def holder(inventory: Path) -> subprocess.Popen[str]:
    """A process that holds the lock until its standard input ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(inventory)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_a_second_one_is_told_of_the_first(inventory: Path) -> None:
    with holder(inventory) as first, pytest.raises(Busy) as caught, alone(inventory):
        pass
    said = rf"another sweep of {re.escape(str(inventory))} is running since \d\d:\d\d \(process {first.pid}\); "
    assert re.fullmatch(said + "wait for it to end", str(caught.value))
    with alone(inventory):
        pass


def test_it_holds_against_the_same_process_too(inventory: Path) -> None:
    with alone(inventory), pytest.raises(Busy), alone(inventory):
        pass


def test_a_killed_sweep_holds_nothing(inventory: Path) -> None:
    with holder(inventory) as first:
        os.kill(first.pid, signal.SIGKILL)
        first.wait()
        with alone(inventory):
            pass


def test_one_folder_by_several_names_is_one_inventory(inventory: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(inventory)
    with alone(inventory):
        for name in (tmp_path / "link", inventory / ".." / "inventory", Path(os.path.relpath(inventory))):
            with pytest.raises(Busy), alone(name):
                pass


def test_other_inventories_and_other_machines_do_not_wait(
    inventory: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "other").mkdir()
    with alone(inventory), alone(tmp_path / "other"):
        # A home that several machines share.
        monkeypatch.setattr("platform.node", lambda: "collector-south")
        with alone(inventory):
            pass


def test_nobody_else_can_open_it(inventory: Path, state: Path) -> None:
    with alone(inventory):
        (lock,) = state.iterdir()
        assert lock.stat().st_mode & 0o077 == 0
        assert state.stat().st_mode & 0o077 == 0


def test_of_a_sweep_that_began_yesterday_the_date_is_told(inventory: Path, state: Path) -> None:
    with alone(inventory):
        (lock,) = state.iterdir()
        yesterday = (datetime.now().astimezone() - timedelta(days=1)).replace(hour=23, minute=50)
        lock.write_text(f"4711 {yesterday.isoformat()}\n")
        with pytest.raises(Busy, match=f"since {yesterday:%Y-%m-%d} 23:50 .process 4711."), alone(inventory):
            pass


@pytest.mark.parametrize("written", [b"", b"4711", b"4711 yesterday", b"x 2027-02-05T02:10:00+01:00", b"\xff\xfe\n"])
def test_what_is_not_told_is_left_out(written: bytes, inventory: Path, state: Path) -> None:
    with alone(inventory):
        (lock,) = state.iterdir()
        lock.write_bytes(written)
        said = f"^another sweep of {re.escape(str(inventory))} is running; wait for it to end$"
        with pytest.raises(Busy, match=said), alone(inventory):
            pass


def test_a_full_disk_does_not_keep_it_from_being_held(inventory: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with ExitStack() as held:
        with monkeypatch.context() as meanwhile:
            meanwhile.setattr("os.ftruncate", full)
            meanwhile.setattr("os.write", full)
            held.enter_context(alone(inventory))
        with pytest.raises(Busy, match="is running; wait for it to end"), alone(inventory):
            pass


@pytest.mark.parametrize("named", ["XDG_STATE_HOME", "HOME", None])
def test_without_a_folder_named_it_follows_the_xdg_rules(
    named: str | None, inventory: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # XDG Base Directory Specification: $XDG_STATE_HOME, an absolute path, else $HOME/.local/state.
    for name in ("READYPAIR_STATE", "XDG_STATE_HOME", "HOME"):
        monkeypatch.delenv(name, raising=False)
    if named is None:
        monkeypatch.setattr("pwd.getpwuid", lambda uid: SimpleNamespace(pw_dir=str(tmp_path / "own")))
        expected = tmp_path / "own" / ".local" / "state"
    elif named == "HOME":
        monkeypatch.setenv("HOME", str(tmp_path / "home"))
        monkeypatch.setenv("XDG_STATE_HOME", "relative")
        expected = tmp_path / "home" / ".local" / "state"
    else:
        monkeypatch.setenv(named, str(tmp_path / "xdg"))
        expected = tmp_path / "xdg"
    with alone(inventory):
        assert len(list((expected / "readypair").iterdir())) == 1


@pytest.fixture
def homeless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A service's account that has no home; returns where its temporary files are."""
    for name in ("READYPAIR_STATE", "XDG_STATE_HOME", "HOME"):
        monkeypatch.delenv(name, raising=False)

    def unknown(uid: int) -> None:
        raise KeyError(uid)

    monkeypatch.setattr("pwd.getpwuid", unknown)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "tmp"))
    (tmp_path / "tmp").mkdir()
    return tmp_path / "tmp" / f"readypair-{os.geteuid()}"


def test_an_account_without_a_home_locks_beside_the_temporary_files(inventory: Path, homeless: Path) -> None:
    with alone(inventory), pytest.raises(Busy), alone(inventory):
        pass
    assert homeless.stat().st_mode & 0o077 == 0


def test_so_does_one_whose_home_cannot_be_written_to(
    inventory: Path, homeless: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", "/dev/null")
    with alone(inventory):
        assert homeless.is_dir()


def test_a_name_that_somebody_else_took_there_is_not_used(inventory: Path, homeless: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    homeless.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(PermissionError, match="name another one in READYPAIR_STATE"), alone(inventory):
        pass
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_named_folder_that_cannot_be_made_is_named(inventory: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("READYPAIR_STATE", "/dev/null/state")
    said = r"can't be kept there .*; name another folder in READYPAIR_STATE: '/dev/null/state'"
    with pytest.raises(OSError, match=said), alone(inventory):
        pass


def test_a_folder_that_is_a_file_is_named_with_what_to_do(inventory: Path, state: Path) -> None:
    state.write_text("")
    with pytest.raises(OSError, match=f"name another folder in READYPAIR_STATE: '{state}'"), alone(inventory):
        pass


def test_a_link_in_the_place_of_the_lock_is_not_followed(inventory: Path, state: Path, tmp_path: Path) -> None:
    precious = tmp_path / "precious"
    with alone(inventory):
        (lock,) = state.iterdir()
    precious.write_text("not to be written over")
    lock.unlink()
    lock.symlink_to(precious)
    with (
        pytest.raises(OSError, match=r"is a link\); name another folder in READYPAIR_STATE") as caught,
        alone(inventory),
    ):
        pass
    assert (caught.value.filename, precious.read_text()) == (str(state), "not to be written over")
