"""Tables: lines, delimiters, words of headings, numbers; the readers of weather and loggers build on it."""

from __future__ import annotations

from datetime import datetime
from math import isnan

import pytest

from handover.base.tables import heading_words, parse_cell, read_rows, spell_offset


def test_rows_know_their_lines() -> None:
    table = read_rows('# by: a mast\n\ntime,a\n1,2\n\n3,"two\nlines"\n,\n4,5\n')
    assert table.preamble == ("# by: a mast", "")
    assert [(row.line, row.cells) for row in table.rows] == [
        (3, ["time", "a"]),
        (4, ["1", "2"]),
        (7, ["3", "twolines"]),
        (9, ["4", "5"]),
    ]


@pytest.mark.parametrize(
    ("heading", "delimiter", "decimal"),
    [("a,b", ",", "."), ("a;b,c;d", ";", ","), ("a\tb", "\t", "."), ("a", ",", ".")],
)
def test_the_heading_gives_the_delimiter(heading: str, delimiter: str, decimal: str) -> None:
    table = read_rows(heading)
    assert (table.delimiter, table.decimal) == (delimiter, decimal)


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing else\n"])
def test_nothing_has_no_rows(text: str) -> None:
    assert read_rows(text).rows == ()


def test_what_is_too_long_is_not_read() -> None:
    table = read_rows("# x\na,b\n" + "1,2\n" * 5, most=5)
    assert (table.rows, table.size) == ((), 6)


def test_a_fault_keeps_the_rows_before_it() -> None:
    table = read_rows("a,b\n1,2\n" + "x" * 200_000 + "\n")
    assert len(table.rows) == 2
    assert table.fault is not None
    assert table.fault_line == 3


@pytest.mark.parametrize(
    ("title", "words"),
    [
        ("air_temperature_c", ["air", "temperature", "c"]),
        ("Temp, \u00b0C (probe 1)", ["temp", "\u00b0c", "probe", "1"]),
        ("Temp\u00e9rature [\u2103]", ["temperature", "\u00b0c"]),
        ("Shortwave W/m\u00b2", ["shortwave", "w", "m2"]),
        ("humidity %", ["humidity", "%"]),
    ],
)
def test_words_of_a_heading(title: str, words: list[str]) -> None:
    assert heading_words(title) == words


@pytest.mark.parametrize(
    ("text", "number"), [("4.5", 4.5), ("-.5", -0.5), ("+3.", 3.0), ("1e-05", 1e-5), (" 7 ", 7.0)]
)
def test_a_number(text: str, number: float) -> None:
    assert parse_cell(text) == number


@pytest.mark.parametrize("text", ["inf", "0x10", "1_000", "--5", "1e999", "\u0663", "4,5", "9" * 400, "1 2"])
def test_no_number(text: str) -> None:
    assert parse_cell(text) is None


@pytest.mark.parametrize("text", ["", " ", "NA", "n/a", "NaN", "null", "None", "-", "--"])
def test_an_empty_cell_is_not_a_number(text: str) -> None:
    number = parse_cell(text)
    assert number is not None
    assert isnan(number)


def test_a_comma_is_a_decimal_point_where_semicolons_separate() -> None:
    assert parse_cell("4,5", ",") == 4.5


@pytest.mark.parametrize("text", ["2026-07-14 06:00 UTC", "2026-07-14T06:00gmt", "2026-07-14T06:00+00:00"])
def test_utc_is_an_offset(text: str) -> None:
    offset = datetime.fromisoformat(spell_offset(text)).utcoffset()
    assert offset is not None
    assert not offset
