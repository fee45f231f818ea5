"""What a session makes of pieces that arrive as they like: a wire that is played piece by piece."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.dialogue import Answer, Broken, Dialogue, Lost, NotInCatalogue, OutOfStep, Unechoed

SYSLOG = b"*Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by duty on vty0\r\n"
Script = list[bytes | str]


class PlayedWire:
    """Yields the bytes of a script in order; a text in it is a line that must have been written before going on.

    Each piece is all there is until the next is asked for, so every boundary between two looks like a silence.
    """

    def __init__(self, *script: bytes | str) -> None:
        self.script = list(script)
        self.written: list[bytes] = []

    def recv(self, nbytes: int) -> bytes:
        while self.script and isinstance(self.script[0], str):
            if f"{self.script[0]}\n".encode() not in self.written:
                raise TimeoutError
            self.script.pop(0)
        if not self.script:
            raise TimeoutError
        piece = self.script.pop(0)
        assert isinstance(piece, bytes)
        return piece

    def recv_ready(self) -> bool:
        return False

    def sendall(self, s: bytes) -> None:
        self.written.append(s)

    def settimeout(self, timeout: float | None) -> None:
        pass


BEGIN: Script = [
    b"\r\nquay-a#",
    "terminal length 0",
    b"terminal length 0\r\nquay-a#",
    "terminal width 511",
    b"terminal width 511\r\nquay-a#",
]


def begun(*script: bytes | str, begin: Script = BEGIN) -> tuple[Dialogue, PlayedWire]:
    wire = PlayedWire(*begin, *script)
    dialogue = Dialogue(wire, most_bytes=1_000_000)
    dialogue.begin(5)
    wire.written.clear()
    return dialogue, wire


def test_the_last_hand_on_the_wire_checks_for_itself() -> None:
    dialogue, wire = begun()
    for line in ("reload", "show version\nreload", "configure terminal", "secret"):
        with pytest.raises(NotInCatalogue):
            dialogue._write(line)
    assert wire.written == []


def test_a_secret_is_only_typed_where_it_is_asked_for() -> None:
    wire = PlayedWire()
    dialogue = Dialogue(wire, secret="of the test", most_bytes=1)
    with pytest.raises(NotInCatalogue):
        dialogue._write_secret(bytearray(b"quay-a>"))
    with pytest.raises(NotInCatalogue):
        Dialogue(wire, secret="two\nlines", most_bytes=1)._write_secret(bytearray(b"Password: "))
    assert wire.written == []
    dialogue._write_secret(bytearray(b"Password: "))
    assert wire.written == [b"of the test\n"]


@pytest.mark.parametrize("pause", [b"notice>", b"\r\nWelcome#", b"\r\nhost#\r\nhost#", b"\r\nquay-a# "])
def test_a_banner_that_pauses_where_a_prompt_might_stand_is_no_prompt(pause: bytes) -> None:
    begin: Script = [pause, "terminal length 0", b" more of it\r\nand more\r\nquay-b>", b"\r\nquay-a#", *BEGIN[2:]]
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\nquay-a#", begin=begin)
    assert dialogue.ask("show boot", 5) == Answer("BOOT\r\n")


def test_a_line_typed_ahead_of_the_prompt_is_recognised_without_one() -> None:
    begin: Script = [b"notice>", "terminal length 0", b"terminal length 0\r\n", b"\r\nquay-a#", *BEGIN[3:]]
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\nquay-a#", begin=begin)
    assert dialogue.ask("show boot", 5) == Answer("BOOT\r\n")


@given(st.data())
def test_pieces_of_any_size_give_the_same_answer(data: st.DataObject) -> None:
    stream = b"show boot\r\nBOOT variable\r\n\xc3\xa9 %x#\r\n\r\n  quay-a#x\r\nlast> line\r\nquay-a#"
    cuts = data.draw(st.sets(st.integers(1, len(stream) - 1)))
    # Of two boundaries that nobody could tell from an end, the printed one stands at no line's end here.
    edges = [0, *sorted(cuts - {stream.index(b"quay-a#x") + 7}), len(stream)]
    pieces = [stream[start:end] for start, end in pairwise(edges)]
    dialogue, _ = begun("show boot", *pieces)
    assert dialogue.ask("show boot", 5).text.encode() == stream[len(b"show boot\r\n") : -len(b"quay-a#")]


@pytest.mark.parametrize(
    "behind",
    [
        b"quay-a#\r\n" + SYSLOG,
        b"quay-a#\r\n" + SYSLOG + SYSLOG + b"quay-a#",
        b"quay-a#\r\n\r\n" + SYSLOG + b"\r\nquay-a#\r\n" + SYSLOG,
        b"quay-a# ",
    ],
)
def test_log_lines_behind_the_prompt_belong_to_no_answer(behind: bytes) -> None:
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\n" + behind, "show romvar", b"show romvar\r\nX\r\nquay-a#")
    assert dialogue.ask("show boot", 5).text == "BOOT\r\n"
    assert dialogue.ask("show romvar", 5).text == "X\r\n"


@pytest.mark.parametrize("before", [b"\r\n" + SYSLOG, b"\r\n" + SYSLOG + b"quay-a#", b"\x07", b"\r\nquay-a#"])
def test_log_lines_before_the_echo_belong_to_no_answer(before: bytes) -> None:
    dialogue, _ = begun("show boot", before + b"show boot\r\nBOOT\r\nquay-a#")
    assert dialogue.ask("show boot", 5).text == "BOOT\r\n"


def test_log_lines_inside_an_answer_are_part_of_what_was_printed() -> None:
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\n" + SYSLOG + b"more\r\nquay-a#")
    assert dialogue.ask("show boot", 5).text == "BOOT\r\n" + SYSLOG.decode() + "more\r\n"


def test_the_rest_of_an_earlier_answer_is_never_taken_for_this_ones() -> None:
    dialogue, _ = begun("show boot", b"5 files\r\nquay-a#show boot\r\nBOOT\r\nquay-a#")
    with pytest.raises(Broken, match="its answers no longer matched what was asked") as caught:
        dialogue.ask("show boot", 5)
    assert caught.value.text == ""


def test_without_its_echo_an_answer_is_none() -> None:
    dialogue, _ = begun("show boot", b"BOOT\r\nquay-a#")
    with pytest.raises(Broken, match="no whole answer within 5 s") as caught:
        dialogue.ask("show boot", 5)
    assert caught.value.text == ""


def test_another_hosts_prompt_ends_nothing() -> None:
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\nquay-b#")
    with pytest.raises(Broken, match="its last line looks like another prompt, quay-b#, than quay-a#") as caught:
        dialogue.ask("show boot", 5)
    assert caught.value.text == "BOOT\r\nquay-b#"


@pytest.mark.parametrize("error", [OSError("Socket is closed"), EOFError()])
def test_a_session_that_ended_while_nothing_was_asked_is_lost(error: Exception) -> None:
    dialogue, wire = begun()

    def sendall(_: bytes) -> None:
        raise error

    wire.sendall = sendall  # type: ignore[assignment,method-assign]
    with pytest.raises(Lost, match="the controller ended the session"):
        dialogue.ask("show boot", 10)


@pytest.mark.parametrize("fail", [lambda *_: b"", lambda *_: exec("raise OSError('gone')")])
def test_a_wire_that_ends_is_lost_with_what_came(fail: Callable[..., bytes]) -> None:
    dialogue, wire = begun("show boot", b"show boot\r\nBOOT\r\n")
    answer = wire.recv
    wire.recv = lambda nbytes: answer(nbytes) if len(wire.script) > 0 else fail()  # type: ignore[method-assign]
    with pytest.raises(Lost) as caught:
        dialogue.ask("show boot", 5)
    assert caught.value.text == "BOOT\r\n"


def test_a_prompt_ends_nothing_while_more_has_arrived_already() -> None:
    dialogue, wire = begun("show boot", b"show boot\r\nquay-a#", b"show boot\r\nBOOT\r\nquay-a#")
    wire.recv_ready = lambda: bool(wire.script)  # type: ignore[method-assign]
    assert dialogue.ask("show boot", 5).text == "quay-a#show boot\r\nBOOT\r\n"


def test_an_answer_that_had_ended_is_settled() -> None:
    dialogue, wire = begun("terminal length 0", SYSLOG + b"terminal length 0\r\n" + SYSLOG + b"quay-a#")
    dialogue.settle(5)
    assert wire.written == [b"terminal length 0\n"]


@pytest.mark.parametrize(
    "rest",
    [
        b"\r\nVALUE = 2\r\nquay-a#terminal length 0\r\nquay-a#",
        b"terminal length 0\r\nVALUE = 2\r\nquay-a#",
    ],
)
def test_an_answer_that_goes_on_behind_what_looked_like_its_end_is_found_out(rest: bytes) -> None:
    dialogue, _ = begun("show romvar", b"show romvar\r\nVALUE = 1\r\nquay-a#", "terminal length 0", rest)
    assert dialogue.ask("show romvar", 5).text == "VALUE = 1\r\n"
    with pytest.raises(OutOfStep, match="an earlier answer went on"):
        dialogue.settle(5)


def test_what_is_never_echoed_is_told_from_what_is_never_answered() -> None:
    dialogue, _ = begun("show boot", b"\r\nVALUE = 2\r\n")
    with pytest.raises(Unechoed, match="no whole answer within 5 s"):
        dialogue.ask("show boot", 5)
    dialogue, _ = begun("show boot", b"show boot\r\nBOOT\r\n")
    with pytest.raises(Broken) as caught:
        dialogue.ask("show boot", 5)
    assert type(caught.value) is Broken


@pytest.mark.parametrize(
    ("printed", "quoted"),
    [
        (b"", ""),
        (b"\r\n \r\n", ""),
        (b"Welcome\r\n\x1b[32mquay-a#\x1b[0m ", "; the last line that came is \\x1b[32mquay-a#\\x1b[0m"),
        (b"Press any key to go on\r\n\r\n", "; the last line that came is Press any key to go on"),
        (b"K\xc3\xa4se \xff\xe2\x80\xae", "; the last line that came is K\u00e4se \\xff\\u202e"),
        (b"x" * 61, f"; the last line that came is {'x' * 60}..."),
        # A prompt, and then nothing: it may be a line of a banner.
        (b"quay-a#", "; the last line that came is quay-a#"),
    ],
)
def test_where_no_prompt_comes_the_last_line_is_quoted(printed: bytes, quoted: str) -> None:
    with pytest.raises(Broken) as caught:
        Dialogue(PlayedWire(printed) if printed else PlayedWire(), most_bytes=1_000).begin(5)
    assert str(caught.value) == f"no prompt within 5 s after the login{quoted}"
