"""Text from outside is text: for messages, terminals and headers; and what an email address is."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handover.base.text import (
    for_terminal,
    is_email_address,
    one_line,
    plain_lines,
    quoted_text,
    short_line,
)
from handover.errors import Finding, UnusableInput, is_hidden, show_hidden


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("a\u202eb\x07", '"a\\u202eb\\u0007"'),
        ("x" * 50, '"' + "x" * 40 + '..."'),
        (True, "true"),
        ([1], "a list"),
        ({}, "a table"),
        pytest.param(10**5000, "a very long number", id="huge"),
    ],
)
def test_values_from_outside_are_shown_safely(value: Any, text: str) -> None:
    assert quoted_text(value) == text


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a\r\nb\tc", "a b c"),
        ("a\x00b\x1b[31m", "ab[31m"),
        ("a\u2028b\x85c", "a b c"),
        ("half \ud800 pair", "half pair"),
        ("  much   room ", "much room"),
    ],
)
def test_one_line_has_no_break_and_no_control_character(text: str, line: str) -> None:
    assert one_line(text) == line


@given(st.text())
def test_a_line_carries_nothing_that_utf8_cannot_and_no_break(text: str) -> None:
    assert len(one_line(text).encode().splitlines()) <= 1
    assert not any(map(is_control, plain_lines(text).replace("\n", "")))
    assert len(short_line(text)) <= 300


def is_control(char: str) -> bool:
    return ord(char) < 0x20 or 0x7F <= ord(char) < 0xA0 or 0xD800 <= ord(char) < 0xE000


@given(st.text())
def test_a_terminal_obeys_nothing(text: str) -> None:
    assert for_terminal(text).isprintable()


def test_what_is_hidden_is_not_what_some_scripts_need() -> None:
    assert all(map(is_hidden, "\x00\u2028\ufeff\ue000\ud800"))
    assert not any(map(is_hidden, "a \u00e9\u200c\u200d\u0601"))


@pytest.mark.parametrize(
    "char",
    [
        pytest.param("\u061c", id="Arabic letter mark"),
        pytest.param("\u200b", id="zero width space"),
        pytest.param("\u200e", id="left-to-right mark"),
        pytest.param("\u200f", id="right-to-left mark"),
        pytest.param("\u202e", id="right-to-left override"),
        pytest.param("\u2060", id="word joiner"),
        pytest.param("\u2064", id="invisible plus"),
        pytest.param("\u206a", id="inhibit symmetric swapping"),
        pytest.param("\u00ad", id="soft hyphen"),
        pytest.param("\u180e", id="Mongolian vowel separator"),
        pytest.param("\ufff9", id="interlinear annotation anchor"),
        pytest.param("\U000e0041", id="tag letter A"),
        pytest.param("\u3164", id="Hangul filler"),
    ],
)
def test_what_hides_or_turns_text_is_hidden(char: str) -> None:
    assert is_hidden(char)


@pytest.mark.parametrize(
    "address", ["lee@example.com", "o'neil+slab@mail.example.co.uk", "a.b_c-d@x-1.example"]
)
def test_an_email_address(address: str) -> None:
    assert is_email_address(address)


@pytest.mark.parametrize(
    "address",
    ["jos\u00e9@example.org", "a@ex\u00e4mple.com", "a@b", "@b.example", "a b@example.com", "a@example.com\n",
     "<a@example.com>", "a@example.com, b@example.com", "x" * 65 + "@example.com", ""],
)  # fmt: skip
def test_no_email_address(address: str) -> None:
    assert not is_email_address(address)


@pytest.mark.parametrize("name", ["problem", "file", "field", "expected", "example"])
@pytest.mark.parametrize(
    "char", ["\x00", "\x1b", "\x9b", "\n", "\u202e", "\u2066", "\u200e", "\ufeff", "\ud800"]
)
def test_no_text_of_a_finding_has_a_hidden_character(name: str, char: str) -> None:
    texts = {"problem": "is wrong"} | {name: f"a{char}b"}
    finding = Finding(**texts)  # type: ignore[arg-type]
    assert getattr(finding, name) == f"a\\u{ord(char):04x}b"
    assert char not in str(UnusableInput([finding]))


def test_visible_text_is_shown_as_it_is() -> None:
    for text in ("12 \u00b0F, 5\u00a0m", "Mu\u00f1oz", "\u0646\u200c\u0645", ""):
        assert show_hidden(text) == text
    assert show_hidden("thickness\t= 4") == "thickness = 4"
