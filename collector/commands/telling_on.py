"""What becomes of a result besides being printed: messages, and files for other programs."""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.remembering import named_store
from collector.commands.telling import GO, WRONG_QUESTION, UsageError, complain, disk_trouble

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping, Sequence

    from collector.commands.remembering import Remembering
    from collector.nights.night import PairState
    from collector.notify import Message, Receiver
    from collector.noting import Noting
    from collector.result import Result

_LIBRARIES = {"notify": "apprise", "metrics": "prometheus_client", "junit": "junitparser"}


@dataclass
class TellingOn:
    """Whom and what to tell when a sweep is over; made by `prepared`. One failure keeps nothing else from being done.

    `always`: also where nothing changed. `compares`: there is a store that knows what was told before.
    """

    receivers: list[Receiver] = field(default_factory=list)
    always: bool = False
    compares: bool = False
    csv: Path | None = None
    junit: Path | None = None
    metrics: Path | None = None
    failed: bool = False
    mishap: Exception | None = None

    def tell(self, result: Result, noted: Noting, remembering: Remembering) -> None:
        """Tell of the result, which has been stored; what doesn't work is said on standard error."""
        if self.csv is not None:
            with self._one():
                from collector.report.table import table

                _write(self.csv, table(result).encode("utf-8"))
        if self.junit is not None:
            with self._one():
                from collector.report.junit import junit

                _write(self.junit, junit(result))
        undelivered = 0
        with self._one():
            undelivered = self._notify(result, remembering)
        if self.metrics is not None:
            with self._one():
                _write_metrics(self.metrics, result, noted, undelivered)

    def ended(self, status: int) -> int:
        """The exit status, another one where a file couldn't be written; raises what should never have happened.

        A message that couldn't be delivered doesn't change it, which says what the pairs are like: `--metrics` tells.
        """
        if self.mishap is not None:
            raise self.mishap
        return WRONG_QUESTION if self.failed else status

    def _notify(self, result: Result, remembering: Remembering) -> int:
        """Tell the receivers, if there is something to tell; returns how many couldn't be told."""
        if not self.receivers:
            return 0
        from collector.notify import deliver

        told = self._told(remembering)
        message = _message(result, told, always=self.always)
        left = deliver(message, self.receivers) if message else []
        for receiver in left:
            complain(f"couldn't notify {receiver.shown}; see that it is reachable and that its URL is right", GO)
        if told is not None and len(left) < len(self.receivers):
            remembering.announce(result.finished)
        return len(left)

    def _told(self, remembering: Remembering) -> Mapping[str, PairState] | None:
        """What the receivers were last told of each pair; None where nobody knows, so that they are told of all."""
        if not self.compares:
            return None
        with self._one():
            return remembering.announced()
        return None

    @contextmanager
    def _one(self) -> Iterator[None]:
        """What goes wrong within is one sentence, and ends nothing else."""
        from collector.store.store import StoreError

        try:
            yield
        except OSError as error:
            self._fail(disk_trouble(error))
        except StoreError as error:
            self._fail(str(error))
        except Exception as error:
            self.mishap = self.mishap or error

    def _fail(self, sentence: str) -> None:
        self.failed = True
        complain(sentence, WRONG_QUESTION)


def prepared(options: argparse.Namespace) -> TellingOn:
    """See that whatever the options ask for can be done, before any controller is asked; UsageError where it can't."""
    named: dict[str, Path | None] = {name: getattr(options, name, None) for name in ("csv", "junit", "metrics")}
    files = {name: path for name, path in named.items() if path is not None}
    urls = _urls(options)
    for wanted, library in _LIBRARIES.items():
        if (wanted in files or (wanted == "notify" and urls)) and find_spec(library) is None:
            raise UsageError(f"--{wanted} needs the library {library}; install it with: pip install '.[telling]'")
    _see_files(files)
    always: bool = getattr(options, "notify_always", False)
    compares = named_store(options) is not None and getattr(options, "target", None) is None
    receivers = _receivers(urls, always=always, compares=compares)
    return TellingOn(receivers, always, compares, named["csv"], named["junit"], named["metrics"])


def receivers_of(options: argparse.Namespace) -> list[Receiver]:
    """Whoever is told of what happens while a command goes on; UsageError where they can't be."""
    urls = _urls(options)
    if urls and find_spec(_LIBRARIES["notify"]) is None:
        raise UsageError("--notify needs the library apprise; install it with: pip install '.[telling]'")
    return _receivers(urls, always=True, compares=False) if urls else []


def _urls(options: argparse.Namespace) -> list[str]:
    """The receivers' URLs; those in the environment are for what goes on by night, not for a play or a trial."""
    given: list[str] | None = getattr(options, "notify", None)
    if given is None and options.command in ("sweep", "watch"):
        return os.environ.get("READYPAIR_NOTIFY", "").split()
    return given or []


def _receivers(urls: Sequence[str], *, always: bool, compares: bool) -> list[Receiver]:
    if not urls:
        if always:
            raise UsageError("--notify-always is about --notify; name a receiver with --notify or in READYPAIR_NOTIFY")
        return []
    if not always and not compares:
        raise UsageError(
            "--notify tells what changed, by a store and for the inventory's own targets; name the store with --store "
            "or in READYPAIR_STORE, or tell of every sweep with --notify-always"
        )
    from collector.notify import NotifyError, receivers

    try:
        return receivers(urls)
    except NotifyError as error:
        raise UsageError(str(error)) from None


def _see_files(files: Mapping[str, Path]) -> None:
    from collector.files import see

    for name, path in files.items():
        if path.is_dir():
            raise UsageError(f"--{name} {path} is a folder; name a file")
        if not path.parent.is_dir():
            raise UsageError(f"--{name} {path}: there is no folder {path.parent}; make it first")
        see(path.parent)
    if len({path.resolve() for path in files.values()}) < len(files):
        raise UsageError(f"{' and '.join(f'--{name}' for name in files)} name one file; name another for each")


def _message(result: Result, told: Mapping[str, PairState] | None, *, always: bool) -> Message | None:
    """What to tell; None where nothing changed and nobody wants to hear of that."""
    from collector.nights.news import news, standing
    from collector.report.message import of_changes, of_fleet

    if told is None:
        return of_fleet(standing(result.pairs, result.finished), result)
    changed = news(result.pairs, told, result.finished)
    return of_changes(changed, result) if changed or always else None


def _write(path: Path, content: bytes, mode: int = 0o600) -> None:
    from collector import files

    files.replace(path, content, mode)


def _write_metrics(path: Path, result: Result, noted: Noting, undelivered: int) -> None:
    """Write the file that an exporter of another account picks up: everybody may read it."""
    from collector.report.metrics import last_success, metrics
    from collector.result import Ended

    success: float | None = result.finished.timestamp()
    if result.ended is not Ended.COMPLETE:
        success = last_success(path.read_text(encoding="utf-8", errors="replace")) if path.is_file() else None
    text = metrics(result, noted.rooms, last_success=success, undelivered=undelivered)
    _write(path, text, 0o644)
