"""Damage to an answer's text at the level at which a parser reads it: lines, columns, words, digits, characters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

# Characters that Python and a controller don't see alike: digits that `isdigit` takes and `int` doesn't, blanks and
# line ends of Unicode, bytes that were not UTF-8, what a terminal acts on.
_ODD: tuple[str, ...] = (
    *"\0\t\v\f\r\x1b\x1c\x85\xa0²³¼٣７߃᠐𝟗Ⅷ一\u2028\u2029\u3000\u200b\u202e\ufeff\ud800\udc80\udcff",
    "\x1b[31m",
    "\r\n",
    "\r\r\n",
    "\n\n",
    " \t ",
)
_NUMBERS = (
    "0", "00", "-1", "+1", "1_000", "0x7fffffff", "9" * 9, "9" * 18, "9" * 20, "9" * 400, "9" * 5000, "1e999", "nan",
    "inf", "1.", ".5", "2²", "٣", "７７", "NA", "N/A", "--", "-", "1/2", "100%", "(100%)", "-0.0", "4294967296",
)  # fmt: skip
_DATES = (
    "Feb 29 2027", "Feb 30 2024", "Jan 0 2027", "Dec 32 2027", "Foo 1 2027", "Feb 5 0000", "Feb 5 0001", "Feb 5 9999",
    "Feb 5 99999", "Fri Feb 5 2027", "Fri Feb 31 2027", "24:00:00", "23:59:60", "99:99:99", "00:00:00.0000000",
    "25:00:00 CET Fri Feb 5 2027", "00:00:00 +99:99", "00:00:00 -24:00", "23:59:59.999 UTC Fri Dec 31 9999",
    "00:00:00.000 CET Mon Jan 1 0001", "1969-12-31T23:59:59", "<no date>", "never", "300 years, 99 weeks",
    "999999999999 years, 53 weeks, 9 days", "0 days, 25 hours, 61 minutes",
)  # fmt: skip
_LINES = (
    "quay-a#", "quay-a>show clock", "% Invalid input detected at '^' marker.", "Load for five secs: 4%/0%",
    "*Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by vty0", " --More-- ", "-" * 80, "=" * 5,
    "*Feb 31 99:99:99.999: %A-5-B: c", "\x1b[0m", "",
)  # fmt: skip
_LONGEST_RUN = 4_000

Damage = Callable[[str, Random, Sequence[str]], str]
_CASES: tuple[Callable[[str], str], ...] = (str.upper, str.lower, str.title, str.swapcase)


def damaged(text: str, chance: Random, others: Sequence[str] = ()) -> str:
    """The text after one to six damages; `others` are texts that lines and words may be taken from."""
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 4, 6))):
        text = chance.choice(DAMAGES)(text, chance, others)
    return text


def _lines(text: str) -> list[str]:
    return text.split("\n")


def _place(sequence: Sequence[str] | str, chance: Random) -> int:
    return chance.randrange(len(sequence)) if sequence else 0


def _spot(text: str, chance: Random) -> tuple[str, str]:
    place = chance.randint(0, len(text))
    return text[:place], text[place:]


def drop_lines(text: str, chance: Random, others: Sequence[str]) -> str:
    """Lose up to three lines that follow each other."""
    lines = _lines(text)
    place = _place(lines, chance)
    return "\n".join(lines[:place] + lines[place + chance.randint(1, 3) :])


def double_lines(text: str, chance: Random, others: Sequence[str]) -> str:
    """Print a line, or a block of up to eight, again: there or elsewhere."""
    lines = _lines(text)
    place, target = _place(lines, chance), _place(lines, chance)
    block = lines[place : place + chance.choice((1, 1, 2, 8))]
    return "\n".join(lines[:target] + block * chance.choice((1, 1, 2, 20)) + lines[target:])


def swap_lines(text: str, chance: Random, others: Sequence[str]) -> str:
    """Exchange two lines."""
    lines = _lines(text)
    one, other = _place(lines, chance), _place(lines, chance)
    lines[one], lines[other] = lines[other], lines[one]
    return "\n".join(lines)


def borrow_line(text: str, chance: Random, others: Sequence[str]) -> str:
    """Put a line of another text, or of a terminal's noise, between two lines."""
    lines = _lines(text)
    pool = _lines(chance.choice(others)) if others and chance.random() < 0.7 else _LINES
    place = _place(lines, chance)
    return "\n".join([*lines[:place], chance.choice(pool), *lines[place:]])


def splice_lines(text: str, chance: Random, others: Sequence[str]) -> str:
    """Begin a line like one and end it like another, at the same column or not."""
    lines = _lines(text)
    other = chance.choice(_lines(chance.choice(others)) if others and chance.random() < 0.5 else lines)
    place = _place(lines, chance)
    column = _place(lines[place], chance)
    lines[place] = lines[place][:column] + other[column if chance.random() < 0.6 else _place(other, chance) :]
    return "\n".join(lines)


def cut_column(text: str, chance: Random, others: Sequence[str]) -> str:
    """Lose the same columns of every line, or move them."""
    width = max(map(len, _lines(text)))
    start = chance.randint(0, width)
    end = start + chance.choice((1, 2, 5, 20))
    between = "" if chance.random() < 0.5 else " " * chance.randint(0, 30)
    return "\n".join(line[:start] + between + line[end:] for line in _lines(text))


def join_lines(text: str, chance: Random, others: Sequence[str]) -> str:
    """Lose one line's end, or turn it into another."""
    before, after = _spot(text, chance)
    return before + after.replace("\n", chance.choice(("", " ", "\r", "\x85", "\u2028")), 1)


def change_word(text: str, chance: Random, others: Sequence[str]) -> str:
    """Put a number, a date or a word of another text into a word's place, or between two."""
    lines = _lines(text)
    place = _place(lines, chance)
    words = lines[place].split(" ")
    pool = chance.choice(others).split() if others and chance.random() < 0.4 else ()
    new = chance.choice(pool or chance.choice((_NUMBERS, _DATES)))
    at = _place(words, chance)
    words[at : at + chance.choice((0, 1, 1, 1))] = [new]
    lines[place] = " ".join(words)
    return "\n".join(lines)


def lose_word(text: str, chance: Random, others: Sequence[str]) -> str:
    """Lose a word, with the blanks in its place or without."""
    lines = _lines(text)
    place = _place(lines, chance)
    words = lines[place].split(" ")
    at = _place(words, chance)
    words[at : at + 1] = [" " * len(words[at])] if chance.random() < 0.5 else []
    lines[place] = " ".join(words)
    return "\n".join(lines)


def change_digit(text: str, chance: Random, others: Sequence[str]) -> str:
    """Put another digit, of whatever script, or a number into a digit's place."""
    digits = [place for place, character in enumerate(text) if character.isdigit()]
    if not digits:
        return text
    place = chance.choice(digits)
    new = chance.choice(("0", "9", "²", "٣", "７", "-", "", *_NUMBERS))
    return text[:place] + new + text[place + 1 :]


def insert_odd(text: str, chance: Random, others: Sequence[str]) -> str:
    """Put up to four odd characters somewhere."""
    for _ in range(chance.randint(1, 4)):
        before, after = _spot(text, chance)
        text = before + chance.choice(_ODD) + after[chance.randint(0, 1) :]
    return text


def flip_character(text: str, chance: Random, others: Sequence[str]) -> str:
    """Turn a character into a neighbour of its, as a flipped bit does."""
    if not text:
        return chance.choice(_ODD)
    place = _place(text, chance)
    return text[:place] + chr(ord(text[place]) ^ chance.choice((1, 2, 4, 8, 16, 32, 64))) + text[place + 1 :]


def repeat_run(text: str, chance: Random, others: Sequence[str]) -> str:
    """Say one to thirty characters over and over, up to the longest line that is matched."""
    start = _place(text, chance)
    run = text[start : start + chance.choice((1, 1, 2, 5, 30))] or " "
    times = chance.choice((2, 10, 100, _LONGEST_RUN)) // len(run) + 1
    return text[:start] + run * times + text[start + len(run) :]


def cut_off(text: str, chance: Random, others: Sequence[str]) -> str:
    """End, or begin, in the middle."""
    return _spot(text, chance)[chance.choice((0, 0, 1))]


def change_case(text: str, chance: Random, others: Sequence[str]) -> str:
    """Print a line in another case."""
    lines = _lines(text)
    place = _place(lines, chance)
    lines[place] = chance.choice(_CASES)(lines[place])
    return "\n".join(lines)


def mix_texts(text: str, chance: Random, others: Sequence[str]) -> str:
    """Go on in the middle of another text."""
    return _spot(text, chance)[0] + _spot(chance.choice(others), chance)[1] if others else text + text


DAMAGES: tuple[Damage, ...] = (
    drop_lines, double_lines, swap_lines, borrow_line, splice_lines, cut_column, join_lines, change_word, change_word,
    lose_word, change_digit, insert_odd, flip_character, repeat_run, cut_off, change_case, mix_texts,
)  # fmt: skip
