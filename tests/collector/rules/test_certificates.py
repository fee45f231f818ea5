from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from collector.demo import EVENING
from collector.finding import Answer, Status, Verdict
from collector.rules.certificates import RULE
from collector.snapshot import Snapshot
from collector.verdict import verdict, weigh
from inventory.pairs import Window
from parsers.facts.certificates import Certificates, Trustpoint
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

TRUSTPOINT, LIST = "show wireless management trustpoint", "show crypto pki certificates"
WINDOW = Window(EVENING + timedelta(days=1), 240)
# 30 days after 2027-02-07 02:00, the window's end.
LAST = datetime(2027, 3, 9, 2, 0)


def built(first: Answers, second: Answers) -> Snapshot:
    return snapshot(first, second, window=WINDOW)


def judged(second: dict[str, Any] | None = None, first: dict[str, Any] | None = None, **pair: Any) -> Answer:
    """The answer where the standby, or the active one, says something else than a healthy one."""
    answers = ({**healthy(1), **(first or {})}, {**healthy(2), **(second or {})})
    return RULE.judge(snapshot(*answers, **{"window": WINDOW, **pair}), policy())


def trustpoint(**values: Any) -> dict[str, Any]:
    facts = healthy(1)[TRUSTPOINT]
    assert isinstance(facts, Trustpoint)
    return {TRUSTPOINT: replace(facts, **values)}


def certificate(**values: Any) -> dict[str, Any]:
    """The healthy list with values of its one certificate replaced."""
    facts = healthy(1)[LIST]
    assert isinstance(facts, Certificates)
    return {LIST: Certificates(certificates=(replace(facts.certificates[0], **values),))}


def both(*lists: dict[str, Any]) -> dict[str, Any]:
    """One list with the certificates of all of these."""
    return {LIST: Certificates(certificates=tuple(item for made in lists for item in made[LIST].certificates))}


def test_a_certificate_that_holds_on_both_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == (
        "The certificate that access points join with is on quay-a and quay-b and holds until 2034-01-04 at least."
    )
    assert told(found.evidence) == {
        (name, command): lines
        for name in ("quay-a", "quay-b")
        for command, lines in ((TRUSTPOINT, (1, 2, 5)), (LIST, (1, 2, 3)))
    }


@pytest.mark.parametrize(
    ("answers", "words", "command"),
    [
        (trustpoint(certificate_available=False), "the certificate that access points join with isn't", TRUSTPOINT),
        (trustpoint(private_key_available=False), "the private key that access points join with isn't", TRUSTPOINT),
        (certificate(status="Pending"), "is Pending, not Available", LIST),
        (certificate(end=datetime(2027, 2, 9, 10, 15)), "ends on 2027-02-09 10:15, before 2027-03-09 02:00", LIST),
        (certificate(start=datetime(2027, 2, 6)), "begins only on 2027-02-06 00:00", LIST),
    ],
)
def test_trouble_on_the_standby_alone_blocks(answers: dict[str, Any], words: str, command: str) -> None:
    found = judged(answers)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert "quay-b" in found.statement
    assert ("quay-b", command) in told(found.evidence)
    assert "people who run the ward" in found.remedy
    assert judged(first=answers).status is Status.BLOCK


@pytest.mark.parametrize(("end", "status"), [(LAST, Status.PASS), (LAST - timedelta(seconds=1), Status.BLOCK)])
def test_it_has_to_outlive_the_window_by_the_policys_days(end: datetime, status: Status) -> None:
    assert judged(certificate(end=end)).status is status


@pytest.mark.parametrize(
    ("pair", "last"),
    [
        ({"window": None}, datetime(2027, 3, 7, 22, 0)),
        ({"moment": EVENING + timedelta(days=9)}, datetime(2027, 3, 16, 22, 0)),
    ],
)
def test_without_a_window_ahead_it_counts_from_now(pair: dict[str, Any], last: datetime) -> None:
    assert judged(certificate(end=last), **pair).status is Status.PASS
    found = judged(certificate(end=last - timedelta(seconds=1)), **pair)
    assert found.status is Status.BLOCK
    assert "30 days from now" in found.statement


def test_several_of_one_trustpoint_all_count() -> None:
    old = certificate(end=datetime(2027, 2, 9))
    assert judged(both(certificate(), old), both(certificate(), old)).status is Status.BLOCK


@pytest.mark.parametrize("other", [{"kind": "ca"}, {"trustpoints": ("another",)}])
def test_others_in_the_list_do_not_count(other: dict[str, Any]) -> None:
    mixed = both(certificate(), certificate(end=datetime(2020, 1, 1), **other))
    assert judged(mixed).status is Status.PASS
    found = judged(certificate(**other))
    assert found.status is Status.UNKNOWN
    assert "on quay-b lists no certificate of quay_join, so its end isn't known" in found.statement
    assert "the maker installed" in found.remedy


@pytest.mark.parametrize("values", [{"serial": "03"}, {"subject": "cn=another"}, {"subject": None}])
def test_different_certificates_are_a_caution(values: dict[str, Any]) -> None:
    found = judged(certificate(**values))
    assert found.status is Status.CAUTION
    assert "quay-a and quay-b hold different certificates" in found.statement


def test_each_chassis_has_its_own_of_the_makers() -> None:
    maker = trustpoint(certificate_type="MIC")
    other = {**maker, **certificate(serial="03")}
    assert judged(other, maker).status is Status.PASS
    assert judged(other).status is Status.CAUTION
    assert judged(certificate(serial="03"), maker).status is Status.CAUTION


@pytest.mark.parametrize("serial", ["0x02", "2", "0002", "00:02"])
def test_a_serial_may_be_written_otherwise(serial: str) -> None:
    assert judged(certificate(serial=serial)).status is Status.PASS


@pytest.mark.parametrize(
    "answers",
    [
        trustpoint(name=None),
        trustpoint(certificate_available=None),
        trustpoint(private_key_available=None),
        certificate(end=None),
        certificate(start=None),
        certificate(status=None),
        certificate(serial=None),
        {LIST: Certificates()},
    ],
)
def test_what_is_not_shown_is_unknown(answers: dict[str, Any]) -> None:
    assert judged(answers).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
@pytest.mark.parametrize("command", [TRUSTPOINT, LIST])
def test_each_member_has_to_tell_it_itself(command: str, lost: Lost) -> None:
    assert judged({command: lost}).status is Status.UNKNOWN
    assert judged(first={command: lost}).status is Status.UNKNOWN


def test_without_the_list_what_is_missing_still_blocks() -> None:
    assert judged({LIST: REFUSED, **trustpoint(private_key_available=False)}).status is Status.BLOCK
    assert RULE.judge(snapshot(b=unreached(), window=WINDOW), policy()).status is Status.UNKNOWN


@pytest.mark.parametrize(
    "answers",
    [
        {},
        trustpoint(certificate_available=False),
        trustpoint(certificate_type="MIC"),
        certificate(end=datetime(2027, 2, 9)),
        certificate(start=datetime(2027, 2, 6)),
        certificate(status="Pending"),
        certificate(serial="03"),
        certificate(subject="cn=another"),
    ],
)
def test_no_loss_makes_it_better(answers: dict[str, Any]) -> None:
    assert bettered(RULE, healthy(1), {**healthy(2), **answers}, policy(), built) == []
    assert bettered(RULE, {**healthy(1), **answers}, healthy(2), policy(), built) == []


def test_a_standby_that_may_not_tell_leaves_its_pair_go_unless_the_site_weighs_it_as_a_block() -> None:
    refusing = {**healthy(2), TRUSTPOINT: REFUSED, LIST: REFUSED}
    answer = RULE.judge(built(healthy(1), refusing), policy())
    assert answer.status is Status.UNKNOWN
    assert verdict([weigh(RULE, answer, policy())]) is Verdict.GO
    assert verdict([weigh(RULE, answer, policy(rules={RULE.id: "block"}))]) is Verdict.UNDECIDED
