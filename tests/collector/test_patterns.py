"""The shapes of what must not leave a site, and of what looks like it and may."""

from __future__ import annotations

import pytest

from collector import patterns
from collector.standins import Kind

OWN = {"private", "key", "info", "available", "command", "the", "reload", "at", "failed"}


def is_prose(text: str) -> bool:
    return all(word in OWN for word in text.lower().split())


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("snmp-server community public RO", "public"),
        ("enable secret 9 $9$abc$def", "$9$abc$def"),
        ("enable secret 5 $1$iUjx$abcdef", "$1$iUjx$abcdef"),
        ("username x password 7 0822455D0A16", "0822455D0A16"),
        ("username x secret hunter2", "hunter2"),
        ("wpa psk set-key ascii 0 hunter2222", "hunter2222"),
        ("  key 7 0822455D", "0822455D"),
        ("  key 7 0822455D0A16", "0822455D0A16"),
        ("  key 7 082245500016", "082245500016"),
        ("  key-string letmein", "letmein"),
        ("snmp-server user u g v3 auth sha Abc12345 priv aes 128 Def67890", "Abc12345"),
        ("snmp-server user u g v3 auth sha Abc12345 priv aes 128 Def67890", "Def67890"),
        ("SR_INIT_SEED = u3Xr2w7A==", "u3Xr2w7A=="),
        ('RANDOM_NUM="1662402834"', "1662402834"),
        ("Fingerprint MD5: 01234567 89ABCDEF 01234567 89ABCDEF", "01234567 89ABCDEF 01234567 89ABCDEF"),
        ("hash 01c08c1f2b7e5d904a63f0d7c2b91e845a6d07f3", "01c08c1f2b7e5d904a63f0d7c2b91e845a6d07f3"),
        ("MIIBIjANBgkqhkiG9w0BAQEFAAOCAQ8AMIIB", "MIIBIjANBgkqhkiG9w0BAQEFAAOCAQ8AMIIB"),
    ],
)
def test_secrets(line: str, value: str) -> None:
    assert value in {found.text for found in patterns.found(line, patterns.SECRETS, is_prose)}


@pytest.mark.parametrize(
    "line",
    [
        "Private key Info : Available",
        "interface TenGigabitEthernet0/1/0",
        "26458804224 bytes total (19503411200 bytes free)",
        "1234567890123456789 -rw- 6891",
        "Image Version = (WX_HARDWARE-UNIVERSAL-M), Version 17.9.4a",
        "Local Communications = Up",
        "UP    [WPA2][PSK][AES]",
        "key 0822.455d.0a16",
        "key 192.0.2.1",
    ],
)
def test_what_is_no_secret(line: str) -> None:
    assert not list(patterns.found(line, patterns.SECRETS, is_prose))


@pytest.mark.parametrize(
    ("line", "kind", "value"),
    [
        ("quay-a uptime is 3 weeks", Kind.HOST, "quay-a"),
        ("quay-a#show boot", Kind.HOST, "quay-a"),
        ("quay-stby#", Kind.HOST, "quay"),
        ("Processor board ID WXS27A00000", Kind.SERIAL, "WXS27A00000"),
        ("Certificate Serial Number (hex): 4F00A2", Kind.SERIAL, "4F00A2"),
        ("PID: WX-9840 , VID: V02 , SN: TTM1234", Kind.SERIAL, "TTM1234"),
        ("! Last configuration change at 20:41:00 CET Thu Jan 28 2027 by duty", Kind.USER, "duty"),
        ("Configured from console by duty on vty0 (192.0.2.250)", Kind.USER, "duty"),
        ("username anna.kuiper privilege 15", Kind.USER, "anna.kuiper"),
        ("server name ise01.acme.example.com", Kind.DOMAIN, "ise01.acme.example.com"),
        ("mail bob@acme.example.com now", Kind.DOMAIN, "bob@acme.example.com"),
        ("crl http://pki.acme.example/crl.bin", Kind.DOMAIN, "pki.acme.example/crl.bin"),
    ],
)
def test_names(line: str, kind: Kind, value: str) -> None:
    assert (kind, value) in {(found.kind, found.text) for found in patterns.found(line, patterns.NAMES, is_prose)}


@pytest.mark.parametrize(
    "line",
    [
        "Chassis#   Role    Mac Address",
        "System returned to ROM by Reload Command at 22:41:07 CET",
        "393217  -rw-  6891  Jun 27 2026 22:30:12 +00:00  packages.conf",
        "wx-base.17.09.04a.pkg",
        "login failed",
        "server by 192.0.2.1",
    ],
)
def test_what_is_no_name(line: str) -> None:
    assert not list(patterns.found(line, patterns.NAMES, is_prose))


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("from (10.1.2.3)", "10.1.2.3"),
        ("10.1.2.3/24", "10.1.2.3"),
        ("10.1.2.3:22", "10.1.2.3"),
        ("to 10.1.2.3.", "10.1.2.3"),
        ("core_10.1.2.3_x", "10.1.2.3"),
        ("fe80::1", "fe80::1"),
        ("2620:0:ccc::2/64", "2620:0:ccc::2"),
        ("::ffff:10.1.2.3", "::ffff:10.1.2.3"),
        ("001a.2b3c.4d5e", "001a.2b3c.4d5e"),
        ("00:1A:2b:3C:4d:5e,", "00:1A:2b:3C:4d:5e"),
        ("00-1A-2b-3C-4d-5e", "00-1A-2b-3C-4d-5e"),
        ("AP001a.2b3c.4d5e", "001a.2b3c.4d5e"),
        ("x 001a2b3c4d5e", "001a2b3c4d5e"),
    ],
)
def test_addresses(line: str, value: str) -> None:
    found = [each.text for each in patterns.addresses(line, (), ())]
    assert found[:1] == [value]


@pytest.mark.parametrize(
    "line",
    [
        "0.0.0.0 255.255.255.0 127.0.0.1 0.0.0.255 255.255.255.255 :: ::1",
        "0000.0000.0000 ffff.ffff.ffff 00:00:00:00:00:00",
        "22:41:07 00:06:31: 17.09.04a.0.6 17.12.03.0.1234 1.2.840.113549.1 17.9.4.27",
        "300.1.2.3 264588042240",
    ],
)
def test_what_is_no_address_of_a_place(line: str) -> None:
    assert not list(patterns.addresses(line, (), {"17.9.4"}))


def test_twelve_digits_that_stand_elsewhere_as_a_mac_address_are_one() -> None:
    assert [each.kind for each in patterns.addresses("020000000001", {"020000000001"}, ())] == [Kind.MAC]


@pytest.mark.parametrize("line", ["-----BEGIN CERTIFICATE-----", "a\x08b", "\x1b]0;title", "x" * 4001])
def test_what_never_leaves(line: str) -> None:
    assert patterns.never_leaves(line)
    assert patterns.never_leaves("Installation mode is\tINSTALL") is None


def test_a_long_line_costs_nothing() -> None:
    assert not list(patterns.found("a-" * 1_000_000, patterns.SECRETS, is_prose))


@pytest.mark.parametrize("name", ["pier-community-centre-01", "pier-token-hall-01", "pier-secret-garden-01"])
def test_a_name_that_goes_on_behind_such_a_word_is_no_secret(name: str) -> None:
    assert not list(patterns.found(f"{name}   2   WX-AP20", patterns.SECRETS, is_prose))
