"""The archives that users install: made alike anywhere, whole, nothing else in them, at work without a checkout."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import pytest
from packaging.metadata import Metadata

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
STEM = f"readypair-{PROJECT['version']}"
INFO = f"{STEM}.dist-info"

PACKAGES = ("collector", "parsers", "inventory")
FOLDERS = (*PACKAGES, "fixtures", "tests", ".pictures")
FILES = ("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore")

# What lies in a checkout that is worked in.
STRAYS = (
    ".env",
    "nights.db",
    ".venv/pyvenv.cfg",
    "demo-report/report.json",
    "collector/__pycache__/cli.cpython-311.pyc",
)


@dataclass(frozen=True)
class Archives:
    """The two archives, and the folder that they were made from."""

    source: Path
    folder: Path

    @property
    def wheel(self) -> Path:
        """What pip installs."""
        return self.folder / f"{STEM}-py3-none-any.whl"

    @property
    def sources(self) -> Path:
        """What a wheel and the tests can be made of."""
        return self.folder / f"{STEM}.tar.gz"

    def given(self, *folders: str) -> Iterator[str]:
        """The files under these folders of the source that belong to readypair, as they are written in archives."""
        strays = {self.source / stray for stray in STRAYS}
        for path in (path for folder in folders for path in (self.source / folder).rglob("*") if path.is_file()):
            if path not in strays:
                yield path.relative_to(self.source).as_posix()


def _copied(into: Path) -> Path:
    into.mkdir()
    for folder in FOLDERS:
        shutil.copytree(ROOT / folder, into / folder, ignore=shutil.ignore_patterns("__pycache__", ".hypothesis"))
    for name in FILES:
        shutil.copy(ROOT / name, into)
    for stray in STRAYS:
        (into / stray).parent.mkdir(parents=True, exist_ok=True)
        (into / stray).write_text("not for others\n")
    return into


def _built(source: Path, into: Path, *what: str, **environment: str) -> Archives:
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(into), *what, str(source)]
    kept = {name: value for name, value in os.environ.items() if name != "SOURCE_DATE_EPOCH"}
    ran = subprocess.run(command, env={**kept, **environment}, capture_output=True, text=True, check=False, timeout=300)
    assert ran.returncode == 0, ran.stderr
    return Archives(source, into)


@pytest.fixture(scope="module")
def archives(tmp_path_factory: pytest.TempPathFactory) -> Archives:
    """The archive of sources made from a checkout, and the wheel made from that archive."""
    folder = tmp_path_factory.mktemp("archives")
    return _built(_copied(folder / "checkout"), folder / "dist")


@pytest.fixture(scope="module")
def again(archives: Archives, tmp_path_factory: pytest.TempPathFactory) -> Archives:
    """Both made straight from another checkout of the same, elsewhere, later, with other permissions."""
    source = tmp_path_factory.mktemp("again") / "another" / "place"
    shutil.copytree(archives.source, source, copy_function=shutil.copyfile)
    for path in source.rglob("*"):
        path.chmod(0o700 if path.is_dir() else 0o600)
    return _built(source, source.parent / "dist", "--sdist", "--wheel", TZ="Pacific/Chatham", PYTHONHASHSEED="7")


def test_the_same_sources_make_the_same_archives_anywhere(archives: Archives, again: Archives) -> None:
    assert again.sources.read_bytes() == archives.sources.read_bytes()


def test_a_wheel_from_the_archive_is_the_one_from_the_checkout(archives: Archives, again: Archives) -> None:
    assert again.wheel.read_bytes() == archives.wheel.read_bytes()


def test_the_wheel_holds_the_packages_with_the_demo_and_nothing_else(archives: Archives) -> None:
    with zipfile.ZipFile(archives.wheel) as wheel:
        held = [name for name in wheel.namelist() if not name.startswith(f"{INFO}/")]
        about = {name.removeprefix(f"{INFO}/") for name in wheel.namelist() if name.startswith(f"{INFO}/")}
    demo = {name.replace("fixtures/demo", "collector/demo_fixtures", 1) for name in archives.given("fixtures/demo")}
    assert sorted(held) == sorted({*archives.given(*PACKAGES), *demo})
    assert about == {"METADATA", "WHEEL", "RECORD", "entry_points.txt", "licenses/LICENSE"}
    # Else the two could lack the same: what isn't Python is what archives forget.
    assert {PurePosixPath(name).suffix for name in held} >= {".py", ".ttp", ".yaml", ".jinja", ".css", ".js", ".txt"}


def test_the_archive_of_sources_holds_the_tests_too_and_nothing_else(archives: Archives) -> None:
    with tarfile.open(archives.sources) as sources:
        members = sources.getmembers()
    assert {(member.isfile(), member.uname, member.uid) for member in members} == {(True, "", 0)}
    assert sorted(member.name for member in members) == sorted(
        f"{STEM}/{name}" for name in (*archives.given(*FOLDERS), *FILES, "PKG-INFO")
    )


def test_the_metadata_is_valid_and_says_what_the_project_says(archives: Archives) -> None:
    with zipfile.ZipFile(archives.wheel) as wheel:
        text = wheel.read(f"{INFO}/METADATA")
        assert wheel.read(f"{INFO}/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
    with tarfile.open(archives.sources) as sources:
        kept = sources.extractfile(f"{STEM}/PKG-INFO")
        assert kept is not None
        assert kept.read() == text
    told = Metadata.from_email(text, validate=True)
    assert (told.name, str(told.version)) == (PROJECT["name"], PROJECT["version"])
    assert (told.license_expression, told.license_files) == ("Apache-2.0", ["LICENSE"])
    assert str(told.requires_python) == PROJECT["requires-python"]
    assert sorted(told.provides_extra or ()) == sorted(PROJECT["optional-dependencies"])
    assert told.description == (archives.source / "README.md").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Machine:
    """Another machine's user: readypair is installed, the checkout isn't there, the home and the folder are empty."""

    programs: Path
    home: Path

    def run(self, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(self.programs / program), *arguments],
            env={"PATH": "/usr/bin:/bin", "HOME": str(self.home), "MPLCONFIGDIR": str(self.home)},
            cwd=self.home,
            capture_output=True,
            text=True,
            check=False,
            timeout=300,
        )


@pytest.fixture(scope="module")
def machine(archives: Archives, tmp_path_factory: pytest.TempPathFactory) -> Machine:
    """The wheel in an environment of its own, which borrows what it depends on from the one of these tests."""
    folder = tmp_path_factory.mktemp("machine")
    environment = folder / "environment"
    venv.create(environment, symlinks=True)
    (packages,) = environment.glob("lib/python*/site-packages")
    (packages / "borrowed.pth").write_text(f"{sysconfig.get_path('purelib')}\n{sysconfig.get_path('platlib')}\n")
    pip = [sys.executable, "-m", "pip", "--python", str(environment), "install", "--quiet"]
    options = ["--no-index", "--no-deps", "--ignore-installed", "--no-compile"]
    installed = subprocess.run(
        [*pip, *options, str(archives.wheel)], cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    assert installed.returncode == 0, installed.stderr
    (folder / "home").mkdir()
    return Machine(environment / "bin", folder / "home")


EVERY_MODULE = f"""
import importlib, json, pkgutil, sys
packages = [importlib.import_module(name) for name in {PACKAGES}]
found = [each for package in packages for each in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
# Alembic runs its environment itself, within a migration; a package's __main__ runs when it is imported.
names = [each.name for each in found if not each.name.endswith((".migrations.env", ".__main__"))]
modules = [*packages, *map(importlib.import_module, names)]
print(json.dumps({{"path": sys.path, "files": sorted(module.__file__ for module in modules)}}))
"""


def test_every_module_is_imported_from_where_it_was_installed(archives: Archives, machine: Machine) -> None:
    ran = machine.run("python", "-c", EVERY_MODULE)
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout)
    (packages,) = machine.programs.parent.glob("lib/python*/site-packages")
    assert str(ROOT) not in told["path"]
    assert {Path(file).is_relative_to(packages) for file in told["files"]} == {True}
    given = {name for name in archives.given(*PACKAGES) if name.endswith(".py")}
    not_imported = given - {Path(file).relative_to(packages).as_posix() for file in told["files"]}
    assert {PurePosixPath(name).name for name in not_imported} <= {"env.py", "__main__.py"}


def test_the_installed_command_says_its_version_and_helps(machine: Machine) -> None:
    assert machine.run("readypair", "--version").stdout == f"readypair {PROJECT['version']}\n"
    helped = machine.run("readypair", "--help")
    assert (helped.returncode, helped.stderr) == (0, "")
    assert helped.stdout.startswith("usage: readypair")


def test_the_demo_runs_from_an_empty_folder_and_what_it_wrote_is_read_again(machine: Machine) -> None:
    # Simulated controllers, templates, the pages with their style, the store's migrations, and the board's pictures.
    shown = machine.run("readypair", "demo", "--out", "shown", "--store", "nights.db", "--quiet")
    assert shown.returncode == 1, shown.stderr
    assert json.loads((machine.home / "shown/report.json").read_text())["pairs"]
    assert "<style" in (machine.home / "shown/report.html").read_text(encoding="utf-8")

    (inventory,) = machine.programs.parent.glob("lib/python*/site-packages/inventory/demo")
    replayed = machine.run("readypair", "replay", "shown", "--inventory", str(inventory), "--quiet")
    assert replayed.returncode == 1, replayed.stderr

    board = machine.run("readypair", "board", "--store", "nights.db", "--inventory", str(inventory), "--out", "board")
    assert board.returncode == 0, board.stderr
    assert (machine.home / "board/index.html").is_file()


def test_an_installed_readypair_explains_its_rules(machine: Machine) -> None:
    ran = machine.run("readypair", "rules", "flash-space")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "flash-space" in ran.stdout
