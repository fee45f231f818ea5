"""`show wireless management trustpoint` and `show crypto pki certificates`."""

from __future__ import annotations

from datetime import datetime

import pytest

from parsers import Unreadable, read
from parsers.facts.certificates import Certificate, Certificates, Trustpoint
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

TRUSTPOINT = "show wireless management trustpoint"
CERTIFICATES = "show crypto pki certificates"

CONFIGURED = """\
Trustpoint Name  : site-trustpoint
Certificate Info : Available
Certificate Type : LSC
Certificate Hash : 3f786850e387550fdab836ed7e6dc881de23001b
Private key Info : Available
FIPS suitability : Not Applicable
"""
UNCONFIGURED = """\
Trustpoint Name  :
Certificate Info :
Certificate Type :
Certificate Hash :
Private key Info :
FIPS suitability :
"""
LISTED = """\
Certificate
  Status: Available
  Certificate Serial Number (hex): 02
  Certificate Usage: General Purpose
  Issuer:
    cn=Harbour CA
    o=Harbour
  Subject:
    Name: quay-a.example.net
    Serial Number: 9XYZ0000001
    cn=quay-a.example.net
  CRL Distribution Points:
    http://192.0.2.80/crl
  Validity Date:
    start date: 10:22:31 CET Jan 5 2024
    end   date: 10:22:31 CET Jan 5 2034
  Associated Trustpoints: site-trustpoint
    other-trustpoint
  Storage: nvram:HarbourCA#2.cer

CA Certificate
  Status: Available
  Certificate Serial Number: 01
  Certificate Usage: Signature
  Issuer:
    cn=Harbour CA
  Subject:
    cn=Harbour CA
  Validity Date:
    start date: 09:00:00 CET Jan 5 2024
    end   date: 09:00:00 CET Jan 4 2044
  Associated Trustpoints: site-trustpoint
  Storage: nvram:HarbourCA#1CA.cer

Router Self-Signed Certificate
  Status: Available
  Certificate Serial Number (hex): 03
  Validity Date:
    start date: 08:00:00 UTC Jan 1 2024
    end   date: 08:00:00 UTC Jan 1 2030
  Associated Trustpoints: self-signed
"""
ANSWERS = [(TRUSTPOINT, CONFIGURED), (TRUSTPOINT, UNCONFIGURED), (CERTIFICATES, LISTED)]


def trustpoint(text: str) -> Trustpoint:
    facts = read(TRUSTPOINT, text)
    assert isinstance(facts, Trustpoint)
    return facts


def certificates(text: str) -> Certificates:
    facts = read(CERTIFICATES, text)
    assert isinstance(facts, Certificates)
    return facts


def test_a_trustpoint() -> None:
    facts = trustpoint(CONFIGURED)
    assert facts == Trustpoint(
        name="site-trustpoint", certificate_available=True, certificate_type="LSC", private_key_available=True
    )
    assert facts.at == {
        "name": (1,),
        "certificate_available": (2,),
        "certificate_type": (3,),
        "private_key_available": (5,),
    }


def test_an_unconfigured_trustpoint_has_no_values() -> None:
    facts = trustpoint(UNCONFIGURED)
    assert facts == Trustpoint()
    assert facts.at == {}


def test_what_is_not_available() -> None:
    facts = trustpoint(CONFIGURED.replace(": Available", ": Not Available"))
    assert (facts.certificate_available, facts.private_key_available) == (False, False)
    assert facts.at["certificate_available"] == (2,)


@pytest.mark.parametrize("value", ["Avail", "xot Available", "Not", "Available ~"])
def test_only_the_whole_word_makes_it_available(value: str) -> None:
    assert trustpoint(f"Certificate Info : {value}").certificate_available is None


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("noise", "it tells nothing of a trustpoint"),
        (CONFIGURED + "Trustpoint Name : other", "lines 1 and 7 contradict each other about the name"),
        (CONFIGURED + "Certificate Info : Not Available", "lines 2 and 7 contradict each other about the certificate"),
    ],
)
def test_what_tells_of_no_trustpoint_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        trustpoint(text)


@pytest.mark.parametrize("text", [CONFIGURED, CONFIGURED.replace(": Available", ": Not Available"), UNCONFIGURED])
def test_no_loss_makes_anything_available(text: str) -> None:
    before = trustpoint(text)
    for name, damaged in [*cut(text), *shortened(text), *garbled(text)]:
        try:
            after = trustpoint(damaged)
        except Unreadable:
            continue
        assert after.certificate_available in (before.certificate_available, None), name
        assert after.private_key_available in (before.private_key_available, None), name


def test_certificates_and_what_they_are_for() -> None:
    facts = certificates(LISTED)
    own, ca, self_signed = facts.certificates
    assert own == Certificate(
        kind="certificate",
        status="Available",
        serial="02",
        subject="Name: quay-a.example.net, Serial Number: 9XYZ0000001, cn=quay-a.example.net",
        issuer="cn=Harbour CA, o=Harbour",
        start=datetime(2024, 1, 5, 10, 22, 31),
        end=datetime(2034, 1, 5, 10, 22, 31),
        trustpoints=("site-trustpoint", "other-trustpoint"),
        at=tuple(range(1, 20)),
    )
    assert (ca.kind, ca.serial, ca.issuer, ca.subject) == ("ca", "01", "cn=Harbour CA", "cn=Harbour CA")
    assert (ca.end, ca.trustpoints) == (datetime(2044, 1, 4, 9), ("site-trustpoint",))
    assert (self_signed.kind, self_signed.end) == ("certificate", datetime(2030, 1, 1, 8))
    assert (self_signed.subject, self_signed.trustpoints) == (None, ("self-signed",))
    assert facts.at == {"certificates": (*own.at, *ca.at, *self_signed.at)}


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("    end   date: 10:22:31 CET Jan 5 2034\n", "end"),
        ("    start date: 10:22:31 CET Jan 5 2024\n", "start"),
        ("  Certificate Serial Number (hex): 02\n", "serial"),
        ("  Status: Available\n", "status"),
    ],
)
def test_a_field_without_its_line_is_none(line: str, field: str) -> None:
    wanted = certificates(LISTED).certificates[0]
    for damaged in (LISTED.replace(line, "", 1), LISTED.replace(line, "    ~~~~\n", 1)):
        own = certificates(damaged).certificates[0]
        assert getattr(own, field) is None
        names = {"kind", "status", "serial", "subject", "issuer", "start", "end", "trustpoints"} - {field}
        assert {name: getattr(own, name) for name in names} == {name: getattr(wanted, name) for name in names}


@pytest.mark.parametrize("date", ["10:22:31 CET Jan 32 2034", "10:22:31 CET J~n 5 2034", "10:22:31 CET Jan 5 203", ""])
def test_an_unreadable_date_is_none(date: str) -> None:
    own = certificates(LISTED.replace("10:22:31 CET Jan 5 2034", date)).certificates[0]
    assert own.end is None
    assert own.start is not None


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("noise", "line 1 stands under no certificate"),
        (LISTED.replace("Certificate\n", "", 1), "line 1 stands under no certificate"),
        (LISTED.replace("Certificate\n", "C~rtificate\n", 1), "line 1 stands under no certificate"),
        (LISTED.replace("CA Certificate\n", ""), "line 21 tells the status of a certificate twice: a heading is miss"),
        (LISTED.replace("CA Certificate\n", "~~~~\n"), "line 22 tells the status of a certificate twice"),
    ],
)
def test_what_stands_under_no_heading_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        certificates(text)


def test_a_spoilt_key_ends_the_field_before_it() -> None:
    own = certificates(LISTED.replace("  Subject:\n", "  ~ubject:\n", 1)).certificates[0]
    assert (own.issuer, own.subject) == ("cn=Harbour CA, o=Harbour", None)
    own = certificates(
        LISTED.replace("  Storage: nvram:HarbourCA#2.cer", "  St~rage: nvram:HarbourCA#2.cer")
    ).certificates[0]
    assert own.trustpoints == ("site-trustpoint", "other-trustpoint")


def test_no_loss_but_that_of_the_end_hides_a_certificate_or_lengthens_its_life() -> None:
    before = certificates(LISTED).certificates
    tried = 0
    for name, damaged in [*shortened(LISTED), *garbled(LISTED)]:
        try:
            after = certificates(damaged).certificates
        except Unreadable:
            continue
        tried += 1
        assert len(after) == len(before), name
        for now, was in zip(after, before, strict=True):
            assert now.end in (was.end, None), name
            assert now.start in (was.start, None), name
            assert now.status in (was.status, None) or now.status != "Available", name
    assert tried > 100
    for name, damaged in cut(LISTED):
        for now, was in zip(certificates(damaged).certificates if damaged else (), before, strict=False):
            assert now.end in (was.end, None), name


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_every_dress(command: str, text: str) -> None:
    assert_reads_alike(command, text)
