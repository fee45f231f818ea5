"""One process that does one command after the other as a user would, with every logger talking; see test_secrets.

`python -m tests.secrets_driver FOLDER` reads FOLDER/steps.json: a list of [name, environment's changes, arguments].
"""

from __future__ import annotations

import json
import logging
import os
import stat
import sys
import warnings
from pathlib import Path
from typing import Any

_TALKATIVE = (
    "paramiko paramiko.transport netmiko nornir nornir.core sqlalchemy sqlalchemy.engine sqlalchemy.engine.Engine "
    "sqlalchemy.pool sqlalchemy.orm alembic apprise asyncio urllib3 requests keyring psycopg psycopg.pool pyte rich"
)


class Modes:
    """Every mode that a file or a folder below the home has on the way, by its path."""

    def __init__(self, home: Path) -> None:
        self.seen: dict[str, set[int]] = {}
        self._home = str(home)
        self._busy = False

    def hear(self, event: str, arguments: tuple[Any, ...]) -> None:
        """Look at what is about to be renamed, and at all in its folder: SQLite's own files are opened by no Python."""
        if self._busy or event not in ("os.rename", "open", "os.mkdir") or not isinstance(arguments[0], str | bytes):
            return
        path = os.fsdecode(arguments[0])
        if not path.startswith(self._home):
            return
        self._busy = True
        try:
            self.look(Path(path).parent)
        finally:
            self._busy = False

    def look(self, folder: Path) -> None:
        """Note the modes of what is in a folder now."""
        try:
            for entry in os.scandir(folder):
                mode = stat.S_IMODE(entry.stat(follow_symlinks=False).st_mode)
                self.seen.setdefault(entry.path, set()).add(mode)
        except OSError:
            return


def main(folder: Path) -> None:
    """Do the steps, and write what was seen beside them."""
    home = folder / "home"
    os.chdir(home)
    os.umask(0)
    logging.basicConfig(filename=folder / "debug.log", level=logging.NOTSET, force=True)
    for name in _TALKATIVE.split():
        logging.getLogger(name).setLevel(logging.DEBUG)
    logging.captureWarnings(True)
    warnings.simplefilter("always")
    modes = Modes(home)
    sys.addaudithook(modes.hear)
    from collector import cli
    from collector.commands import watch

    watch.LEAST_SECONDS = 0.2
    statuses = {}
    for name, changes, arguments in json.loads((folder / "steps.json").read_text()):
        before = dict(os.environ)
        os.environ.update(changes)
        for empty in [key for key, value in os.environ.items() if not value]:
            del os.environ[empty]
        print(f"=== {name}", flush=True)
        print(f"=== {name}", file=sys.stderr, flush=True)
        broken = changes.get("TEST_BREAKS")
        if broken:
            _break(cli, broken)
        try:
            statuses[name] = cli.main(arguments)
        except SystemExit as ended:
            statuses[name] = int(str(ended.code))
        os.environ.clear()
        os.environ.update(before)
    (folder / "ended.json").write_text(
        json.dumps({"statuses": statuses, "modes": {k: sorted(v) for k, v in modes.seen.items()}})
    )


def _break(cli: Any, said: str) -> None:
    """Let the next command fail in a way that nobody thought of, with a secret in its words."""

    def fail(*_: object) -> int:
        raise RuntimeError(f"no way to log in with {said}")

    cli._do = fail


if __name__ == "__main__":
    main(Path(sys.argv[1]))
