"""Damaged and hostile texts: `read` gives facts or says why not, whatever it is given, and takes no longer for it.

The long runs are `python -m tests.fuzzing`, guided by coverage; here the same damage is done from fixed beginnings.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from random import Random

import pytest

from parsers import catalogue, read
from tests.fleet.making import healthy_pairs
from tests.fleet.writing import captures
from tests.fuzzing.damage import DAMAGES, damaged
from tests.fuzzing.judging import failure
from tests.fuzzing.seeds import seeds

_HOUSE = Path(__file__).parents[2]
_TEXTS = 30
_LONG = 3_000
_MOST = 20_000


@pytest.mark.parametrize("command", [command.text for command in catalogue.COMMANDS])
def test_a_damaged_answer_is_read_or_unreadable_and_nothing_else(command: str) -> None:
    chance = Random(command)
    texts = [text for text in seeds(command) if len(text) < _LONG]
    assert texts
    for _ in range(_TEXTS):
        text = damaged(chance.choice(texts), chance, texts)[:_MOST]
        found = failure(command, text)
        assert found is None, f"{text!r}\n{found.text}"


def test_every_damage_changes_a_text_and_none_fails_on_an_empty_one() -> None:
    text = "\n".join(f"row {number} of Nine (9%)   up" for number in range(9))
    for damage in DAMAGES:
        assert any(damage(text, Random(turn), (text[::-1],)) != text for turn in range(20)), damage
        for turn in range(20):
            damage("", Random(turn), ())


def test_no_text_takes_longer_than_its_length_earns() -> None:
    """Every text has its own limit on the CPU of the process that reads it; the last line names the one too long."""
    done = subprocess.run([sys.executable, "-m", "tests.fuzzing.limited"], cwd=_HOUSE, capture_output=True, text=True)
    assert done.returncode == 0, (done.stdout.splitlines()[-1:], done.stderr[-2_000:])
    assert done.stdout.endswith("all read\n")


def test_the_answer_of_a_site_of_six_thousand_access_points_is_read() -> None:
    (pair,) = healthy_pairs(1, access_points=6_000)
    facts = read("show ap summary", captures(pair, pair.members[0])["show ap summary"])
    assert len(facts.lines_of("aps")) == 6_000
