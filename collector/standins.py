"""Stand-ins for what must not leave a site: of the same shape, one for each original, in the order of appearance.

A stand-in holds nothing of its original but its shape (its length, where its letters, digits and separators stand), so
nobody can work back from it. Addresses come out of the ranges that are set aside for documentation: RFC 5737 for IPv4,
RFC 2544's range for benchmarks where those are full, RFC 3849 for IPv6; MAC addresses are locally administered ones.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import chain, count, islice
from string import ascii_lowercase

_DOCUMENTATION = ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24")
_BENCHMARKS = "198.18.0.0/15"
_LINK_LOCAL = "169.254.0.0/16"
_IPV6_DOCUMENTATION = int(ipaddress.IPv6Address("2001:db8::"))
_IPV6_LINK_LOCAL = int(ipaddress.IPv6Address("fe80::"))
_FOREIGN_SMALL = "öäüéèñçåøú"
_HEX = re.compile(r"[0-9A-Fa-f]+")
# The first and the last address of a range name no host; those of whole blocks of 256 look as if they didn't.
_NO_HOST = (0, 255)


class Kind(StrEnum):
    """What was replaced; the value is how the report calls it."""

    IPV4 = "IPv4 addresses"
    IPV6 = "IPv6 addresses"
    MAC = "MAC addresses"
    HOST = "names of members and hosts"
    SITE = "names of pairs and sites"
    ACCESS_POINT = "names of access points"
    LOCATION = "locations of access points"
    NETWORK = "names of wireless networks"
    DOMAIN = "domain names, links and mail addresses"
    CERTIFICATE = "names in certificates"
    SERIAL = "serial numbers"
    USER = "user names"
    SECRET = "keys, passwords, community strings and hashes"  # noqa: S105 - what it is called
    WORD = "other words that are no controller's"


class Exhausted(ValueError):  # noqa: N818 - nothing is wrong with what was given, there is too much of it
    """There are more addresses than stand-ins; the message says of which kind."""


@dataclass
class StandIns:
    """Gives each original its stand-in, the same one whenever it is asked.

    `avoid` are texts, in lower case, that no stand-in may be. Names that differ in case only have one stand-in, whose
    letters take the case of the place; so do the notations of one MAC or IPv6 address.
    """

    avoid: frozenset[str] = frozenset()
    _given: dict[tuple[str, str], str] = field(default_factory=dict, repr=False)
    _used: set[str] = field(default_factory=set, repr=False)
    _numbers: dict[tuple[str, str], Iterator[int]] = field(default_factory=dict, repr=False)
    _addresses: dict[tuple[bool, int], Iterator[str]] = field(default_factory=dict, repr=False)

    def __contains__(self, text: str) -> bool:
        """Whether a text is one of the stand-ins that were given."""
        return lower(text) in self._used

    def fix(self, original: str, standin: str) -> None:
        """Have a name replaced by this very text."""
        self._given["name", lower(original)] = standin
        self._used.add(lower(standin))

    def name(self, original: str, kind: Kind) -> str:
        """The stand-in of a name or word: a letter for each letter, a digit for each digit, all else as it is."""
        key = ("name", lower(original))
        if key not in self._given:
            self._given[key] = self._take(self._shapes(original, kind))
        return _in_the_case_of(original, self._given[key])

    def secret(self, original: str) -> str:
        """The stand-in of a key, a password, a community string or a hash: it says that it is one, no more."""
        if ("secret", original) not in self._given:
            numbers = self._numbers.setdefault(("secret", ""), count(1))
            self._given["secret", original] = self._take(f"key-{number:03}" for number in numbers)
        return self._given["secret", original]

    def mail(self, original: str) -> str:
        """The stand-in of a mail address, in a domain that RFC 2606 sets aside."""
        if ("mail", lower(original)) not in self._given:
            numbers = self._numbers.setdefault(("mail", ""), count(1))
            self._given["mail", lower(original)] = self._take(f"user-{number:03}@example.com" for number in numbers)
        return self._given["mail", lower(original)]

    def mac(self, original: str) -> str:
        """The stand-in of a MAC address, in the notation and the case of the original."""
        key = ("mac", mac_digits(original))
        if key not in self._given:
            numbers = self._numbers.setdefault(("mac", ""), count(1))
            self._given[key] = self._take(f"0200{number:08x}" for number in numbers if number < 16**8)
        digits = iter(self._given[key])
        shown = "".join(next(digits) if _HEX.fullmatch(char) else char for char in original)
        return shown.upper() if original == original.upper() else shown

    def ipv4(self, original: str) -> str:
        """The stand-in of an IPv4 address, of the same length where there is one; a link-local one stays so."""
        if ("ipv4", original) not in self._given:
            self._given["ipv4", original] = self._ipv4(original)
        return self._given["ipv4", original]

    def ipv6(self, original: str) -> str:
        """The stand-in of an IPv6 address; a link-local one stays so."""
        address = ipaddress.IPv6Address(original)
        key = ("ipv6", address.compressed)
        if key not in self._given:
            base = _IPV6_LINK_LOCAL if address.is_link_local else _IPV6_DOCUMENTATION
            numbers = self._numbers.setdefault(("ipv6", str(base)), count(1))
            self._given[key] = self._take(str(ipaddress.IPv6Address(base + number)) for number in numbers)
        return self._given[key]

    @property
    def pairs(self) -> Mapping[tuple[str, str], str]:
        """What was given, by class and original: as secret as the originals are."""
        return self._given

    def _take(self, candidates: Iterator[str]) -> str:
        for candidate in candidates:
            if lower(candidate) not in self._used and lower(candidate) not in self.avoid:
                self._used.add(lower(candidate))
                return candidate
        raise Exhausted("there are more addresses of one kind than stand-ins for them")

    def _shapes(self, original: str, kind: Kind) -> Iterator[str]:
        """The shape filled with the numbers from 1 on, then longer ones once those are used up."""
        zero = "a" if kind is Kind.SERIAL else kind.name[0].lower()
        alphabets = [_alphabet(char, zero, hexadecimal=_is_hexadecimal(original, kind)) for char in original]
        fill = "".join(alphabet[0] for alphabet in alphabets)
        numbers = self._numbers.setdefault(("name", fill), count(1))
        filled = (_filled(alphabets, number) for number in numbers)
        return chain(_until_full(filled), (f"{zero}{number}" for number in count(1)))

    def _ipv4(self, original: str) -> str:
        link_local = ipaddress.IPv4Address(original) in ipaddress.IPv4Network(_LINK_LOCAL)
        wanted = len(original)
        for length in sorted(range(7, 16), key=lambda length: (abs(length - wanted), length)):
            pool = self._addresses.setdefault((link_local, length), _pool(link_local, length))
            try:
                return self._take(pool)
            except Exhausted:
                continue
        raise Exhausted("there are more IPv4 addresses than stand-ins for them")


def lower(text: str) -> str:
    """The text in lower case and of the same length."""
    if text.isascii():
        return text.lower()
    return "".join(low if len(low := char.lower()) == 1 else char for char in text)


def mac_digits(text: str) -> str:
    """The twelve digits of a MAC address in any notation, in lower case."""
    return re.sub(r"[.:-]", "", text).lower()


def mac_notations(text: str) -> tuple[str, ...]:
    """A MAC address in all its notations, in lower case."""
    digits = mac_digits(text)
    pairs = re.findall("..", digits)
    return digits, ".".join(re.findall("....", digits)), ":".join(pairs), "-".join(pairs)


def _in_the_case_of(original: str, standin: str) -> str:
    if len(original) != len(standin):
        return standin
    return "".join(new.upper() if old.isupper() else new for old, new in zip(original, standin, strict=True))


def _is_hexadecimal(original: str, kind: Kind) -> bool:
    return kind is Kind.SERIAL and _HEX.fullmatch(original) is not None


def _alphabet(char: str, zero: str, *, hexadecimal: bool) -> str:
    """The characters that may stand for one, the first of them for nought."""
    if char.isascii() and char.isdigit():
        return "0123456789"
    if not char.isalnum():
        return char
    if not char.isascii():
        return _FOREIGN_SMALL
    letters = "abcdef" if hexadecimal else ascii_lowercase
    return letters[letters.index(zero) :] + letters[: letters.index(zero)]


def _filled(alphabets: list[str], number: int) -> str | None:
    """The number written from the right in the alphabets of the places; None where it doesn't fit."""
    shown: list[str] = []
    for alphabet in reversed(alphabets):
        number, place = divmod(number, len(alphabet))
        shown.append(alphabet[place])
    return None if number else "".join(reversed(shown))


def _until_full(filled: Iterator[str | None]) -> Iterator[str]:
    for text in filled:
        if text is None:
            return
        yield text


def _pool(link_local: bool, length: int) -> Iterator[str]:
    ranges = [_LINK_LOCAL] if link_local else [*_DOCUMENTATION, _BENCHMARKS]
    # No range is longer than this: a generator over all of them is cheap until it is used up.
    addresses = chain.from_iterable(ipaddress.IPv4Network(each) for each in ranges)
    hosts = (address for address in islice(addresses, 2**18) if int(address) % 256 not in _NO_HOST)
    return (text for text in map(str, hosts) if len(text) == length)
