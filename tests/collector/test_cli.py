"""The command line as a user meets it: what it prints, where, and its exit status."""

from __future__ import annotations

import io
import json
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from collector import demo, simulated
from collector.cli import main

INVENTORY = str(demo.inventory_folder())
FIXTURES = str(demo.fixtures_folder())
REPLAY = ("replay", FIXTURES, "--inventory", INVENTORY, "--quiet")


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("INVENTORY", "KNOWN_HOSTS", "USERNAME", "PASSWORD", "SECRET"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")


@contextmanager
def controllers(folder: Path, monkeypatch: pytest.MonkeyPatch, *members: str) -> Iterator[simulated.Fleet]:
    """Simulated controllers of the demo's members, an inventory in `folder` that leads to them, and credentials."""
    with simulated.fleet({name: Path(FIXTURES) / name for name in members}, today=True) as running:
        pairs = sorted({name.rpartition("-")[0] for name in members})
        hosts = (f"{name}: {{hostname: 127.0.0.1, port: {running.ports[name]}, groups: [{name.rpartition('-')[0]}]}}\n"
                 for name in members)  # fmt: skip
        groups = (
            f"{pair}: {{platform: ios, data: {{pair: {pair}, site: Harbour Quay, target_release: 17.12.4, "
            "image: {file: wx-universal.17.12.04.bin, bytes: 1250000000}}}\n"
            for pair in pairs
        )
        folder.mkdir(exist_ok=True)
        (folder / "hosts.yaml").write_text("".join(hosts))
        (folder / "groups.yaml").write_text("".join(groups))
        shutil.copy(Path(INVENTORY) / "policy.yaml", folder)
        monkeypatch.setenv("READYPAIR_INVENTORY", str(folder))
        monkeypatch.setenv("READYPAIR_USERNAME", running.credentials.username)
        monkeypatch.setenv("READYPAIR_PASSWORD", running.credentials.password)
        monkeypatch.setenv("READYPAIR_KNOWN_HOSTS", str(folder / "known_hosts"))
        yield running


def test_the_demo_sweeps_its_fleet_over_ssh(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["demo", "--pairs", "[qb]*", "--out", str(tmp_path / "out")]) == 1
    out, err = capsys.readouterr()
    assert "breakwater  Breakwater" in out
    assert "35 | Installation mode is BUNDLE" in out
    assert "quay: go" in err
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert {pair["pair"]: pair["verdict"] for pair in report["pairs"]}["quay"] == "go"
    assert "<title>" in (tmp_path / "out" / "report.html").read_text()
    assert (tmp_path / "out" / "captures" / "quay-a" / "show_version.txt").is_file()


def test_what_a_sweep_writes_replays_to_the_same_findings(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    main(["demo", "--pairs", "[qbf]*", "--out", str(tmp_path), "--json", "--quiet"])
    swept = json.loads(capsys.readouterr().out)
    main(["replay", str(tmp_path), "--inventory", INVENTORY, "--json", "--quiet"])
    replayed = json.loads(capsys.readouterr().out)
    assert [pair["pair"] for pair in replayed["pairs"]] == [pair["pair"] for pair in swept["pairs"]]
    # How old the captures are depends on when one asks.
    for pair, again in zip(swept["pairs"], replayed["pairs"], strict=True):
        before = {f["rule"]: f["status"] for f in pair["findings"] if f["rule"] not in ("evidence-age", "ap-staging")}
        after = {finding["rule"]: finding["status"] for finding in again["findings"]}
        assert before.items() <= after.items()


@pytest.mark.parametrize(("pairs", "status"), [("quay", 0), ("breakwater", 1), ("fogbank", 1), ("*", 1)])
def test_the_exit_status_says_whether_every_pair_is_go(pairs: str, status: int) -> None:
    assert main([*REPLAY, "--pairs", pairs]) == status


def test_a_weight_of_the_sites_own_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*REPLAY, "--pairs", "sea-wall"]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "The site's policy weighs this rule as: block." in told
    assert "Weighed by the site's policy, not by default: certificates as block" in told


def test_json_is_all_that_is_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    main(["replay", FIXTURES, "--inventory", INVENTORY, "--json"])
    out, err = capsys.readouterr()
    report = json.loads(out)
    assert (report["schema"], report["tool"]) == (1, "readypair")
    assert len(err.splitlines()) == len(report["pairs"]) + len(report["notes"])


def test_quiet_is_quiet(capsys: pytest.CaptureFixture[str]) -> None:
    main([*REPLAY, "--pairs", "quay"])
    assert capsys.readouterr().err == ""


def test_sites_and_globs_narrow_together(capsys: pytest.CaptureFixture[str]) -> None:
    main([*REPLAY, "--site", "harbour quay", "--pairs", "q*", "--json"])
    assert [pair["pair"] for pair in json.loads(capsys.readouterr().out)["pairs"]] == ["quay"]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["sweep"], "name the inventory folder with --inventory DIR or in READYPAIR_INVENTORY"),
        (["sweep", "--inventory", "/nowhere"], "/nowhere: there is no such inventory folder"),
        (["replay", "/nowhere", "--inventory", INVENTORY], "/nowhere: there is no such folder"),
        ([*REPLAY, "--pairs", "x*"], "fits --pairs 'x*'; it has quay, "),
        ([*REPLAY, "--pairs", "q*", "--site", "Dry Dock"], "fits --pairs 'q*' and --site 'Dry Dock'; it has quay, "),
        ([*REPLAY, "--out", "/dev/null/out"], "/dev/null"),
        (["check", "x", "--inventory", INVENTORY], "has no pair 'x'; it has quay, "),
        (["check", "quay", "--inventory", INVENTORY, "--target", "new"], "--target: 'new' is not a release such as"),
        (["check", "quay", "--inventory", INVENTORY], "there is no password for "),
        (["rules", "x"], "there is no rule 'x'; `readypair rules` lists them"),
        (["read", "show everything", "-"], "'show everything' is not in the catalogue of commands; it has 'show "),
        (["read", "show boot", "/nowhere"], "/nowhere: No such file or directory"),
        (["read", "show boot", "/"], "/: Is a directory"),
    ],
)
def test_a_wrong_question_is_one_sentence_and_2(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    first, *more = err.splitlines()
    assert first.startswith("readypair: ")
    assert sentence in first
    assert all(line.startswith("readypair sweep: 0 pairs, ") and line.endswith("; exit 2") for line in more)
    assert len(more) == (arguments[0] == "sweep")


@pytest.mark.parametrize("arguments", [[], ["sail"], ["sweep", "--workers", "0"], ["sweep", "--colour"], ["check"]])
def test_wrong_usage_is_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "usage: readypair" in capsys.readouterr().err


def test_every_mistake_of_an_inventory_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(INVENTORY, tmp_path, dirs_exist_ok=True)
    policy = (tmp_path / "policy.yaml").read_text()
    (tmp_path / "policy.yaml").write_text(
        policy.replace("physical", "steam").replace("rules: {certificates: block}", "rules: {x: off}")
    )
    assert main(["replay", FIXTURES, "--inventory", str(tmp_path)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert f"readypair: {tmp_path}/policy.yaml: rules.x: there is no rule 'x'; `readypair rules` lists them" in told
    assert len(told) > 2


def test_replay_refuses_to_write_over_what_it_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["demo", "--pairs", "quay", "--out", str(tmp_path), "--quiet"])
    assert main(["replay", str(tmp_path), "--inventory", INVENTORY, "--out", str(tmp_path)]) == 2
    assert "would write over the captures that are replayed" in capsys.readouterr().err


def test_trust_then_sweep_then_check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with controllers(tmp_path / "site", monkeypatch, "quay-a", "quay-b") as running:
        assert main(["sweep", "--quiet"]) == 1
        out = capsys.readouterr().out
        assert " ".join(out.split()).count("host key isn't known: run `readypair trust`") == 2
        assert "Not known without an answer of quay-a and quay-b: hardware-support, " in " ".join(out.split())
        assert len(out.splitlines()) < 35
        assert main(["check", "quay", "--quiet"]) == 1
        assert " ".join(capsys.readouterr().out.split()).count("host key isn't known") == 2
        assert main(["trust"]) == 2
        out, err = capsys.readouterr()
        assert out.count("SHA256:") == 2
        assert "run it again with --yes" in err
        assert not (tmp_path / "site" / "known_hosts").exists()
        assert main(["trust", "--yes"]) == 0
        assert capsys.readouterr().out.count("recorded [127.0.0.1]:") == 2
        assert (tmp_path / "site" / "known_hosts").stat().st_mode & 0o777 == 0o600
        assert main(["trust"]) == 0
        assert main(["sweep", "--quiet"]) == 0
        capsys.readouterr()
        assert main(["check", "quay", "--target", "17.13.1", "--quiet"]) == 1
        detail = capsys.readouterr().out
        assert "train 17.13 isn't long-lived" in " ".join(detail.split())
        assert not any("conf" in line.split()[0] for line in running.received("quay-a"))


def test_a_changed_host_key_is_never_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with controllers(tmp_path, monkeypatch, "quay-a", "quay-b") as running:
        key = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
        (tmp_path / "known_hosts").write_text(f"[127.0.0.1]:{running.ports['quay-a']} {key}\n")
        assert main(["trust", "--yes"]) == 1
        told = " ".join(capsys.readouterr().out.split())
        assert "NOT the key in" in told
        assert told.count("recorded [127.0.0.1]:") == 1
        main(["sweep", "--quiet", "--json"])
        members = json.loads(capsys.readouterr().out)["pairs"][0]["members"]
        assert [member["reached"] for member in members] == [False, True]


def test_read_tells_facts_and_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = Path(FIXTURES) / "breakwater-b" / "show_version.txt"
    assert main(["read", "show version", str(file)]) == 0
    assert "bundle" in capsys.readouterr().out
    assert main(["read", "Show  VERSION", str(file), "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["release"], facts["install_mode"], facts["model"]) == ("17.9.4a", "bundle", "WX-9840")


def test_read_takes_standard_input(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    text = b"26458804224 bytes total (19503411200 bytes free)\r\n"
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(text)))
    assert main(["read", "dir bootflash: | include free", "-", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bytes_free"] == 19503411200


@pytest.mark.parametrize("text", ["", "nonsense\n", "% Invalid input detected at '^' marker.\n", "\x00\xff\n"])
def test_read_says_that_a_text_is_unreadable(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "x.txt"
    file.write_text(text)
    assert main(["read", "show boot", str(file), "--json"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"readypair: {file}: can't be read as 'show boot': ")


def test_rules_come_from_the_code(capsys: pytest.CaptureFixture[str]) -> None:
    from collector.rules import CATALOGUE

    assert main(["rules"]) == 0
    listed = capsys.readouterr().out
    assert [rule.id for rule in CATALOGUE if rule.id not in listed] == []
    assert main(["rules", "flash-space"]) == 0
    assert "dir bootflash:" in capsys.readouterr().out


def test_an_internal_error_is_3(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a mistake of ours")

    monkeypatch.setattr("collector.judging.rules.judge", broken)
    assert main([*REPLAY, "--pairs", "quay"]) == 3
    assert "internal error (RuntimeError); please report the lines above" in capsys.readouterr().err


def in_a_shell(tail: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """The command line in a shell of its own, with this behind it; the exit status is the command's own."""
    line = shlex.join([sys.executable, "-c", "from collector.cli import run; run()", *arguments])
    script = f"set -o pipefail; {line} {tail}"
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    return subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False, env=environment)


@pytest.mark.parametrize(("pairs", "status"), [("quay", 0), ("breakwater", 1)])
@pytest.mark.parametrize("form", [[], ["--json"]])
def test_a_reader_that_goes_away_does_not_change_the_status(pairs: str, status: int, form: list[str]) -> None:
    done = in_a_shell("| true", *REPLAY, "--pairs", pairs, *form)
    assert (done.returncode, done.stderr) == (status, "")
    # Nor does one that read the progress.
    done = in_a_shell("2> >(true) >/dev/null", "replay", FIXTURES, "--inventory", INVENTORY, "--pairs", pairs)
    assert done.returncode == status


@pytest.mark.parametrize("arguments", [REPLAY, ("rules",), ("rules", "--help")])
@pytest.mark.parametrize(
    ("tail", "sentence"),
    [
        (">&-", "standard output is closed; send it to a file, or to /dev/null to throw it away"),
        (">/dev/full", "standard output: No space left on device"),
    ],
)
def test_a_standard_output_that_cannot_be_written_is_one_sentence_and_2(
    arguments: tuple[str, ...], tail: str, sentence: str
) -> None:
    done = in_a_shell(tail, *arguments)
    assert (done.returncode, done.stderr) == (2, f"readypair: {sentence}\n")


@pytest.mark.parametrize("tail", ["2>&-", "2>/dev/full", "<&- 2>&-"])
def test_without_standard_error_it_answers_all_the_same(tail: str) -> None:
    done = in_a_shell(tail, "replay", FIXTURES, "--inventory", INVENTORY, "--pairs", "quay", "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["pairs"][0]["pair"] == "quay"
    assert in_a_shell(tail, "rules", "x").stdout == ""


def test_without_standard_input_there_is_nothing_to_read() -> None:
    done = in_a_shell("<&-", "read", "show boot", "-")
    assert (done.returncode, done.stderr) == (1, "readypair: -: can't be read as 'show boot': the answer is empty\n")


def test_help_imports_nothing_heavy() -> None:
    heavy = "import sys, collector.cli as c\ntry: c.main(['--help'])\nexcept SystemExit: pass\n"
    check = "print(sorted({'netmiko', 'paramiko', 'nornir', 'pydantic', 'rich', 'ttp', 'asyncssh'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", heavy + check], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
