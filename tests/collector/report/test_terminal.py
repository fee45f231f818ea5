from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from rich.console import Console, RenderableType

from collector.finding import Verdict
from collector.ordering import Step, When
from collector.report import terminal
from collector.result import Result
from inventory.explaining import Setting
from inventory.pairs import Pair
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import ConfigSync, Processor, Redundancy
from parsers.facts.software import RomVariables
from tests.collector.report.sample import HOSTILE, LATE, RESULT, RULES, STEERING, UNHEARD, UNREACHED, UNTOLD, WAIVER


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("COLUMNS", "LINES", "FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)


def printed(part: RenderableType) -> str:
    file = io.StringIO()
    terminal.console(file).print(part)
    return file.getvalue()


def squeezed(text: str) -> str:
    """The text with every run of white space as one blank, so that wrapping doesn't matter."""
    return " ".join(text.split())


def with_pair(**changes: object) -> Result:
    pair: Pair = replace(RESULT.pairs[0].pair, **changes)  # type: ignore[arg-type]
    return replace(RESULT, pairs=(replace(RESULT.pairs[0], pair=pair),))


def row(text: str, pair: str) -> str:
    return next(line for line in text.splitlines() if line.startswith(pair))


def test_a_pipe_gets_80_columns_and_no_colours() -> None:
    for part in (terminal.fleet(RESULT), terminal.detail(RESULT.pairs[6]), terminal.catalogue(RULES)):
        text = printed(part)
        assert max(map(len, text.splitlines())) <= 80
        assert "\x1b" not in text


def test_columns_widens_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "150")
    assert "2027-02-06 23:00+01:00" in row(printed(terminal.fleet(RESULT)), "pontoon")


def test_a_terminal_gets_colours_and_the_same_words() -> None:
    file = io.StringIO()
    Console(file=file, force_terminal=True, width=80, color_system="standard", highlight=False).print(
        terminal.fleet(RESULT)
    )
    coloured = file.getvalue()
    assert "\x1b[" in coloured
    from rich.text import Text

    assert squeezed(Text.from_ansi(coloured).plain) == squeezed(printed(terminal.fleet(RESULT)))


def test_the_fleet_has_a_row_for_every_pair() -> None:
    text = printed(terminal.fleet(RESULT))
    for pair in RESULT.pairs:
        words = row(text, pair.pair.name).split()
        assert pair.verdict.value in words
        assert pair.target_release in words
    assert row(text, "quay").split()[-1] == "nothing"
    assert "install-mode +1" in row(text, "slipway")
    assert "unknown: 23:00+01:00 install-mode +1" in squeezed(text)


def test_a_name_of_usual_length_is_not_broken() -> None:
    lost = replace(
        RESULT.pairs[4],
        pair=replace(RESULT.pairs[4].pair, name="pilot-station", site="Pilot Station"),
        findings=tuple(replace(UNTOLD, rule=rule.id) for rule in RULES),
    )
    assert row(printed(terminal.fleet(replace(RESULT, pairs=(lost,)))), "pilot").split()[0] == "pilot-station"


def test_the_fleet_shows_the_lines_that_decide() -> None:
    text = squeezed(printed(terminal.fleet(RESULT)))
    assert "pontoon-b: dir bootflash: (line 31)" in text
    assert "31 | 26458804224 bytes total (2503411200 bytes free)" in text
    assert "slipway-b: show version (line 52) 52 | Installation mode is BUNDLE" in text
    assert "Nobody can tell the install mode of lighter-b." in text


def test_the_fleet_leaves_out_what_does_not_decide() -> None:
    text = squeezed(printed(terminal.fleet(RESULT)))
    assert "all well of" not in text
    assert "not the recommended release" not in text


def test_an_unknown_that_the_site_weighs_as_caution_does_not_decide() -> None:
    eased = replace(UNTOLD, weight="caution", weighed="caution")
    pair = RESULT.pairs[4]
    changed = replace(pair, findings=tuple(eased if f.rule == eased.rule else f for f in pair.findings))
    text = squeezed(printed(terminal.fleet(replace(RESULT, pairs=(changed,)))))
    assert UNTOLD.statement not in text
    assert UNREACHED.statement in text
    assert "The site's policy weighs this rule as: caution." in squeezed(printed(terminal.detail(changed)))


def test_the_closing_line_counts() -> None:
    assert printed(terminal.fleet(RESULT)).rstrip().splitlines()[-1].strip() == "7 pairs: 2 go, 4 no-go, 1 undecided"
    one = printed(terminal.fleet(replace(RESULT, pairs=RESULT.pairs[:1])))
    assert one.rstrip().splitlines()[-1].strip() == "1 pair: 1 go, 0 no-go, 0 undecided"


def test_long_evidence_is_cut_and_says_so() -> None:
    text = squeezed(printed(terminal.fleet(RESULT)))
    assert "deck-10 " in text
    assert "deck-11 " not in text
    assert "and 8 more lines in the report" in text


def test_what_controllers_print_is_never_obeyed() -> None:
    for part in (terminal.fleet(RESULT), terminal.detail(RESULT.pairs[6])):
        text = printed(part)
        assert "AP-\\x1b[2J\\x1b]0;gone\\x07[bold]deck[/bold] [/] \\u202eback" in text
        assert not set(text) & {"\x1b", "\x07", "\u202e", "\udcff", "\t"}


@pytest.mark.parametrize("name", [STEERING, "[red]x[/red]", ":ferry:", "x" * 200, "[/]"])
def test_names_are_shown_as_they_are(name: str) -> None:
    for part in (terminal.fleet(with_pair(name=name, site=name)), terminal.detail(with_pair(name=name).pairs[0])):
        text = printed(part)
        assert max(map(len, text.splitlines())) <= 80
        assert not set(text) & {"\x1b", "\x07", "\u202e"}
    shown = "".join(printed(terminal.detail(with_pair(name=name).pairs[0])).split())
    assert "".join(name.replace("\x1b", "\\x1b").replace("\x07", "\\x07").replace("\u202e", "\\u202e").split()) in shown


def test_the_detail_has_every_finding_the_worst_first() -> None:
    text = printed(terminal.detail(RESULT.pairs[5]))
    heads = [line.split() for line in text.splitlines() if line.startswith(("block", "unk", "caution", "pass", "not-"))]
    assert heads[0] == ["caution", "release-support"]
    assert [status for status, _ in heads[1:]] == ["pass"] * 11 + ["not-applicable"]
    assert {rule for _, rule in heads} == {rule.id for rule in RULES}


def test_the_detail_says_who_the_pair_is_and_what_to_do() -> None:
    text = squeezed(printed(terminal.detail(RESULT.pairs[1])))
    assert "Member pontoon-b: standby, release 17.9.4a" in text
    assert "Window 2027-02-06 23:00+01:00 to 2027-02-07 03:00+01:00 (240 minutes)" in text
    assert "Image wx-universal.17.12.04.bin, 1,250,000,000 bytes" in text
    assert "What to do: Remove inactive software" in text
    lighter = squeezed(printed(terminal.detail(RESULT.pairs[4])))
    assert "Member lighter-b: not reached; its partner tells: standby" in lighter


def test_the_catalogue_and_a_rule() -> None:
    text = printed(terminal.catalogue(RULES))
    assert all(row(text, rule.id).split()[1:] == rule.title.split() for rule in RULES)
    one = printed(terminal.rule(replace(RULES[6], bad="first [bad]\nsecond")))
    lines = [line.strip() for line in one.splitlines()]
    assert RULES[6].why in lines
    assert {"dir bootflash:", "dir stby-bootflash:", "good line of flash-space", "first [bad]", "second"} <= set(lines)


def test_facts_with_their_lines() -> None:
    facts = Redundancy(
        hardware_mode="Duplex",
        communications=None,
        this=Processor(location="slot 1", state="ACTIVE", boot=("bootflash:packages.conf", "spare")),
        at={"hardware_mode": (1,), "this.state": (3,), "this.boot": (2, 3)},
    )
    text = printed(terminal.facts("show redundancy", facts, ["mode", "[bold]two", "three", "four"]))
    assert row(text, "hardware_mode").split() == ["hardware_mode", "Duplex", "line", "1"]
    assert row(text, "communications ").split() == ["communications", "not", "shown"]
    assert row(text, "this.boot").split() == ["this.boot", "bootflash:packages.conf", "lines", "2-3"]
    assert "2 | [bold]two" in text
    assert "four" not in text


def test_lists_of_facts_are_tables() -> None:
    changed = datetime(2027, 2, 5, 21, 30)
    files = tuple(File(name=f"f{number}", bytes=number, modified=changed, at=number) for number in range(1, 61))
    facts = Directory(bytes_free=7, files=files, at={"bytes_free": (61,), "files": tuple(range(1, 61))})
    text = printed(terminal.facts("dir bootflash:", facts, [f"printed {number}" for number in range(1, 62)]))
    assert row(text, "f60").split() == ["f60", "60", "2027-02-05", "21:30:00", "60"]
    assert "files (60)" in text
    assert "and 21 more lines" in text
    variables = RomVariables(variables={"A": "[1]"}, at={"variables": (1,)})
    assert row(printed(terminal.facts("show romvar", variables, ["A=[1]"])), "A ").split() == ["A", "[1]"]
    empty = printed(terminal.facts("x", ConfigSync(empty=True, at={"empty": (1,)}), ["The list is Empty"]))
    assert row(empty, "empty").split() == ["empty", "yes", "line", "1"]
    assert row(empty, "lines").split() == ["lines", "none"]


def test_markup_in_a_site_stays_text() -> None:
    assert HOSTILE.split()[0] in squeezed(printed(terminal.fleet(RESULT)))


WAIVED = replace(
    RESULT.pairs[1],
    verdict=Verdict.GO,
    findings=tuple(
        replace(found, waiver=WAIVER, why="Because it fills.") if found.rule == "flash-space" else found
        for found in RESULT.pairs[1].findings
    ),
)
STEPS = (
    Step("install-mode", "Convert slipway-b.", When.IN_A_WINDOW, disruptive=True),
    Step("flash-space", "Clear the flash.", When.ANY_TIME, disruptive=False, after=("install-mode",)),
)


def test_a_waived_block_is_marked_and_says_who_until_when_and_why() -> None:
    told = "block, waived flash-space"
    said = "Waived by R. [b]Vane until 2027-03-31: New \\x1bflash is ordered."
    for part in (terminal.fleet(replace(RESULT, pairs=(WAIVED,))), terminal.detail(WAIVED)):
        text = squeezed(printed(part))
        assert told in text
        assert said in text
    text = printed(terminal.fleet(replace(RESULT, pairs=(WAIVED, RESULT.pairs[2]))))
    assert "waived:" in row(text, "pontoon")
    assert "flash-space" in text.splitlines()[3]


def test_a_waived_block_comes_after_what_is_not_known() -> None:
    pair = replace(WAIVED, findings=(*WAIVED.findings, UNTOLD))
    heads = [line.split()[0] for line in printed(terminal.detail(pair)).splitlines() if line[:1].isalpha()]
    assert [head for head in heads if head in ("block,", "unknown", "pass")][:3] == ["unknown", "block,", "pass"]


def test_a_waived_block_that_hides_an_unknown_counts_as_one_and_is_told_once() -> None:
    hiding = tuple(replace(found, unsure=found.waiver is not None) for found in WAIVED.findings)
    pair = replace(WAIVED, verdict=Verdict.UNDECIDED, findings=hiding)
    text = printed(terminal.fleet(replace(RESULT, pairs=(pair,))))
    assert text.count("Waived by R.") == 1
    assert "Waived, and counted as no block" not in text
    table = squeezed(text.split("pontoon, ")[0])
    assert table.index("unknown:") < table.index("flash-space") < table.index("waived:")
    assert table.count("flash-space") == 2


def test_the_detail_lists_what_to_do_in_order_and_the_findings_point_there() -> None:
    text = squeezed(printed(terminal.detail(replace(RESULT.pairs[2], steps=STEPS))))
    first = "1. install-mode (in a window; may reload a controller or drop clients) Convert slipway-b."
    assert f"What to do, in this order {first} 2. flash-space (any time) Clear the flash." in text
    assert "What to do: step 1 above" in text
    assert "What to do: step 2 above" in text
    assert "Remove inactive software" not in text


def test_the_fleet_has_the_order_in_short() -> None:
    both = printed(terminal.fleet(replace(RESULT, pairs=(replace(RESULT.pairs[2], steps=STEPS),))))
    first = "install-mode (in a window; may reload or drop clients)"
    assert f"To do, in this order: {first}, then flash-space (any time)" in squeezed(both)
    one = printed(terminal.fleet(replace(RESULT, pairs=(replace(RESULT.pairs[2], steps=STEPS[1:]),))))
    assert "To do: flash-space (any time)" in squeezed(one)


def test_other_weights_are_told_once_for_the_fleet() -> None:
    said = "Weighed by the site's policy, not by default: release-support as caution"
    assert said in squeezed(printed(terminal.fleet(RESULT)))
    assert said in squeezed(printed(terminal.detail(RESULT.pairs[5])))
    assert "Weighed by" not in printed(terminal.detail(RESULT.pairs[0]))


def test_a_trouble_says_why_it_matters_and_where_to_read_on() -> None:
    text = squeezed(printed(terminal.detail(WAIVED)))
    assert "Why it matters: Because it fills." in text
    assert "readypair rules ID" in text


def test_a_long_rule_leaves_the_window_whole() -> None:
    unknown = tuple(replace(UNTOLD, rule=rule) for rule in ("saved-configuration", *(f"rule-{n}" for n in range(12))))
    text = printed(terminal.fleet(replace(RESULT, pairs=(replace(RESULT.pairs[4], findings=unknown),))))
    assert "23:00+01:00" in text
    assert "saved-configuration" in text
    assert "+12" in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_long_key_of_the_policy_breaks_before_its_last_part() -> None:
    long = Setting("access_points.WX-AP31-OUTDOOR.first_release", "17.3.1", 45)
    short = Setting("minimum_release", 2.0, None)
    text = printed(terminal.policy(Path("here/policy.yaml"), [long, short], ["trains.17.14: isn't there"]))
    assert "here/policy.yaml" in text
    assert row(text, "access_points.WX-AP31-OUTDOOR.").split()[1:] == ["17.3.1", "policy.yaml:45"]
    assert row(text, "  first_release").split() == ["first_release"]
    assert row(text, "minimum_release").split() == ["minimum_release", "2", "built-in", "default"]
    assert "What the policy lacks trains.17.14: isn't there" in squeezed(text)


@pytest.mark.parametrize("view", [lambda: terminal.fleet(UNHEARD), lambda: terminal.detail(UNHEARD.pairs[0])])
def test_a_members_silence_is_told_once_with_the_rules_that_it_leaves_unknown(
    view: Callable[[], RenderableType],
) -> None:
    text = squeezed(printed(view()))
    assert text.count("lighter-b: not reached: its host key isn't known: run `readypair trust`") == 1
    assert text.count("unknown Not known without an answer of lighter-b: install-mode, pair-state") == 1
    assert UNREACHED.statement not in text
    assert UNTOLD.statement not in text
    assert "Mend pair-state." not in text
    assert "pair-state (any time)" not in text
    assert "boot-variable (any time)" in text


def test_pairs_that_were_not_reached_in_time_are_counted_and_told_in_a_sentence() -> None:
    text = printed(terminal.fleet(LATE))
    closing = [line.rstrip() for line in text.splitlines()[-2:]]
    assert closing == ["8 pairs: 2 go, 4 no-go, 2 undecided", "1 of 8 pairs not reached in time"]
    assert row(text, "tender").rstrip().endswith("not reached in time")
    said = "tender, Tender Stage: undecided The sweep's deadline of 45 min came before it was asked."
    assert said in squeezed(text)
    assert "Not known without an answer of tender-a" not in squeezed(text)
    assert "in time" not in printed(terminal.fleet(RESULT))


def test_what_blocks_a_pair_without_an_answer_is_told_all_the_same() -> None:
    late = replace(LATE.pairs[-1], verdict=Verdict.NO_GO, findings=RESULT.pairs[1].findings)
    text = printed(terminal.fleet(replace(LATE, pairs=(late,))))
    assert "flash-space" in row(text, "tender")
    assert "not reached in time" in text.splitlines()[text.splitlines().index(row(text, "tender")) + 1]
    assert "1246588800 are missing" in squeezed(text)
