from __future__ import annotations

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from collector import demo

LINE = [sys.executable, "-c", "from collector.cli import run; run()", "read", "show boot"]
# Far more than it takes, and far less than what it is given.
MEMORY = 400_000_000
BRINGING = [sys.executable, "-c", "import sys\nfor _ in range(900): sys.stdout.buffer.write(bytes(1_000_000))"]


def _with_little_memory() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (20, 20))


def refused(name: str, standard_input: int | None = None) -> str:
    """What `read` says of this file, with little memory and time; it must have ended as a wrong question does."""
    done = subprocess.run(
        [*LINE, name],
        stdin=standard_input,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=_with_little_memory,
    )
    assert done.returncode == 2, done.stderr[-500:]
    assert done.stdout == ""
    return done.stderr


def test_a_device_without_an_end_is_refused() -> None:
    said = "is larger than 20 MB, and no answer is; give the output of that one command\n"
    assert refused("/dev/zero") == f"readypair: /dev/zero: {said}"


def test_a_pipe_that_brings_900_megabytes_is_refused() -> None:
    with subprocess.Popen(BRINGING, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as writer:
        assert writer.stdout is not None
        said = refused("-", writer.stdout.fileno())
    assert said.startswith("readypair: standard input: is larger than 20 MB")


@pytest.mark.parametrize("name", ["-", "/dev/stdin"])
def test_a_pipe_is_read_to_its_end(name: str) -> None:
    text = (Path(demo.fixtures_folder()) / "quay-a" / "show_boot.txt").read_bytes()
    done = subprocess.run([*LINE, name, "--json"], input=text, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["boot"] == ["bootflash:packages.conf"]
