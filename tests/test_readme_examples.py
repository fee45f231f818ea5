"""The README's examples for those who must know, each as it stands there: checked by what will read it, and run."""

from __future__ import annotations

import configparser
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from cronsim import CronSim
from junitparser import JUnitXml
from prometheus_client.parser import text_string_to_metric_families

from collector import demo
from collector.nights.night import Room
from collector.notify import receivers
from collector.report.metrics import metrics
from collector.report.table import COLUMNS
from collector.store.store import opened
from tests.collector.receiving import Posted, posted
from tests.collector.report.sample import RESULT
from tests.collector.test_cli import controllers

README = Path(__file__).parents[1] / "README.md"
READYPAIR = Path(sys.executable).with_name("readypair")


def example(name: str) -> str:
    """The block that follows the comment with this name; the README must have one."""
    text = README.read_text(encoding="utf-8")
    blocks: list[str] = re.findall(rf"<!-- example: {re.escape(name)} -->\n```\w+\n(.*?)```", text, re.DOTALL)
    assert len(blocks) == 1
    return blocks[0]


def unit(name: str) -> configparser.ConfigParser:
    """A unit's settings; a name of them may stand in capitals."""
    parsed = configparser.ConfigParser(interpolation=None)
    parsed.optionxform = str  # type: ignore[assignment,method-assign]
    parsed.read_string(example(name))
    return parsed


@dataclass(frozen=True)
class Machine:
    """A machine that is set up as the README says, with its folders elsewhere and its controllers simulated."""

    root: Path
    environment: Mapping[str, str]
    hook: Posted

    def placed(self, text: str) -> str:
        """The text with this machine's places."""
        for folder in ("/etc/readypair", "/var/lib/readypair"):
            text = text.replace(folder, f"{self.root}{folder}")
        return text.replace("/opt/readypair/bin/readypair", str(READYPAIR))

    def run(self, command: list[str], environment: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            command,
            env={"PATH": os.environ["PATH"], "HOME": str(self.root), **environment},
            cwd=self.root,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )

    def fleet_was_swept(self) -> None:
        with opened(str(self.root / "var/lib/readypair/nights.db"), existing=True) as store:
            (sweep,) = store.sweeps(last=9)
            assert (sweep.start.source, sweep.pairs) == ("sweep", 1)
            assert sweep.finished is not None
        assert [body["title"] for body in self.hook.bodies] == ["readypair: 1 pair not told of before doesn't go"]


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Machine]:
    etc, state = tmp_path / "etc/readypair", tmp_path / "var/lib/readypair"
    etc.mkdir(parents=True)
    state.mkdir(parents=True)
    with posted() as hook, controllers(etc / "inventory", monkeypatch, "breakwater-a", "breakwater-b") as running:
        (etc / "known_hosts").write_text(running.known_hosts_text())
        own = {
            "READYPAIR_USERNAME": running.credentials.username,
            "READYPAIR_PASSWORD": running.credentials.password,
            "READYPAIR_NOTIFY": hook.url,
        }
        made = Machine(tmp_path, {}, hook)
        given = dict(line.split("=", 1) for line in made.placed(example("environment")).splitlines())
        assert own.keys() <= given.keys()
        settings = {name: own.get(name) or value.strip("'") for name, value in given.items()}
        (etc / "environment").write_text("".join(f"{key}={shlex.quote(value)}\n" for key, value in settings.items()))
        yield Machine(tmp_path, settings, hook)


def systemd_analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    if shutil.which("systemd-analyze") is None:
        pytest.fail("no systemd-analyze: install systemd")
    return subprocess.run(["systemd-analyze", *arguments], capture_output=True, text=True, check=False, timeout=120)


def test_systemd_takes_the_units(machine: Machine) -> None:
    paths = [machine.root / name for name in ("readypair.service", "readypair.timer")]
    for path in paths:
        path.write_text(machine.placed(example(path.name)))
    verified = systemd_analyze("verify", "--man=no", *map(str, paths))
    # Other units of the machine may have their own troubles.
    assert not [line for line in (verified.stdout + verified.stderr).splitlines() if "readypair" in line]
    assert verified.returncode == 0


def test_systemd_takes_no_unit_that_is_wrong(machine: Machine) -> None:
    # Else the test above would pass whatever the units hold.
    path = machine.root / "readypair.service"
    path.write_text(machine.placed(example(path.name)).replace("ExecStart=/", "ExecStart=/nowhere/"))
    assert systemd_analyze("verify", "--man=no", str(path)).returncode != 0


def test_the_timer_rings_every_night() -> None:
    calendar = unit("readypair.timer")["Timer"]["OnCalendar"]
    told = systemd_analyze("calendar", "--iterations=3", "--base-time=2027-02-05 12:00:00 UTC", calendar)
    assert told.returncode == 0
    assert re.findall(r"2027-02-0[678] 01:30:00", told.stdout) == [f"2027-02-0{day} 01:30:00" for day in (6, 7, 8)]


def test_the_service_sweeps_tells_and_succeeds(machine: Machine) -> None:
    service = unit("readypair.service")["Service"]
    done = machine.run(shlex.split(machine.placed(service["ExecStart"])), machine.environment)
    assert str(done.returncode) == service["SuccessExitStatus"]
    machine.fleet_was_swept()
    state = machine.root / "var/lib/readypair"
    names = {each.name for each in text_string_to_metric_families((state / "readypair.prom").read_text())}
    assert "readypair_last_success_timestamp_seconds" in names
    assert (state / "report" / "report.html").is_file()
    assert done.stderr.splitlines()[-1].startswith("readypair sweep: 1 pairs, 0 go, 1 no-go, ")


def test_what_the_service_writes_stays_where_it_may() -> None:
    service = unit("readypair.service")["Service"]
    assert (service["ProtectSystem"], service["StateDirectory"]) == ("strict", "readypair")
    options = shlex.split(service["ExecStart"])[2:]
    paths = [value for value in options if value.startswith("/")]
    kept = [line.partition("=")[2] for line in example("environment").splitlines() if "/var/" in line]
    assert paths
    assert all(path.startswith("/var/lib/readypair") for path in (*paths, *kept))


def test_the_crontab_rings_every_night_and_its_command_sweeps_and_tells(machine: Machine) -> None:
    (line,) = example("crontab").splitlines()
    *times, command = line.split(maxsplit=5)
    rings = CronSim(" ".join(times), datetime.fromisoformat("2027-02-05T12:00:00"))
    assert [next(rings).isoformat() for _ in range(2)] == ["2027-02-06T01:30:00", "2027-02-07T01:30:00"]
    # The manual page crontab(5): an unescaped percent sign ends the command.
    assert "%" not in command
    done = machine.run(["/bin/sh", "-c", machine.placed(command)], {})
    assert (done.returncode, done.stdout) == (1, "")
    machine.fleet_was_swept()
    assert (machine.root / "var/lib/readypair/fleet.csv").read_text().count("\n") == 2


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    shutil.copytree(demo.fixtures_folder(), tmp_path / "recordings")
    shutil.copytree(demo.inventory_folder(), tmp_path / "inventory")
    return tmp_path


def ci_job(repository: Path) -> int:
    (repository / "job").write_text(example("ci-job"))
    path = f"{READYPAIR.parent}:{os.environ['PATH']}"
    environment = {"PATH": path, "HOME": str(repository)}
    return subprocess.run(["/bin/sh", "job"], cwd=repository, env=environment, check=False, timeout=120).returncode


def test_the_ci_job_tries_the_policy_on_recordings(repository: Path) -> None:
    assert ci_job(repository) == 0
    suites = JUnitXml.fromstring((repository / "readypair.xml").read_bytes())
    assert (suites.failures or 0) > 10
    assert "breakwater" in (repository / "readypair.txt").read_text()


def test_the_ci_job_fails_where_the_question_is_wrong(repository: Path) -> None:
    (repository / "inventory" / "policy.yaml").write_text("images_to_hold: many\n")
    assert ci_job(repository) == 2
    assert not (repository / "readypair.xml").exists()


def section() -> str:
    return README.read_text(encoding="utf-8").partition("## Telling those who must know")[2].partition("\n## ")[0]


def test_the_readme_names_every_metric_and_every_column() -> None:
    text = metrics(RESULT, {"quay": (Room("quay-a", 1, 2, 3),)}, last_success=1.0).decode()
    written = {family.name for family in text_string_to_metric_families(text)}
    assert set(re.findall(r"`(readypair_\w+)", section())) == written
    told = section().partition("the columns are")[2].partition("A cell that")[0]
    own = [column for column in COLUMNS if not column.startswith("member_")]
    assert [name for name in re.findall(r"`(\w+)`", told) if not name.startswith(("_", "member_"))] == own
    members = {f"member_{number}{end}" for number in (1, 2) for end in ("", *re.findall(r"`(_\w+)`", told))}
    assert members == {column for column in COLUMNS if column.startswith("member_")}


def test_the_url_of_the_example_is_one() -> None:
    settings = dict(line.split("=", 1) for line in example("environment").splitlines())
    (receiver,) = receivers([settings["READYPAIR_NOTIFY"].strip("'")])
    assert receiver.shown == "mailtos://mail.example.org"
