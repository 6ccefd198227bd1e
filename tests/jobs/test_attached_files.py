"""Files that are no record, and files that a record names."""

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from handover.errors import Finding
from handover.jobs.parse import MAX_RECORD_BYTES
from handover.jobs.reading import ExaminedRecord, examine_job

Examine = Callable[..., ExaminedRecord]


def only(examined: ExaminedRecord) -> Finding:
    """Return the one finding, and check that it says what to do."""
    (finding,) = examined.findings
    assert examined.record is None
    assert finding.file
    assert finding.expected
    assert finding.example
    assert str(finding).isprintable()
    return finding


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert "does not exist" in only(examine_job(tmp_path / "job.toml")).problem


def test_a_folder(tmp_path: Path) -> None:
    assert "folder" in only(examine_job(tmp_path)).problem


def test_a_name_that_is_none() -> None:
    (finding,) = examine_job("job\0.toml").findings
    assert "cannot be read" in finding.problem


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "ordinary file" in only(examine_job(tmp_path / "pipe")).problem


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("id = 1")
    (tmp_path / "job.toml").chmod(0)
    assert "Permission" in only(examine_job(tmp_path / "job.toml")).problem


def test_a_file_of_200_megabytes_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    with path.open("wb") as file:
        file.truncate(200_000_000)  # a hole: takes no room on the disk
    examined = examine_job(path)
    assert "200,000,000 bytes" in only(examined).problem
    assert examined.source.data == b""


def test_the_largest_record_is_read(examine: Examine, good: str) -> None:
    filled = good + "#" * (MAX_RECORD_BYTES - len(good))
    assert examine(filled).record
    assert "bytes" in only(examine(filled + "#")).problem


@pytest.mark.parametrize("content", [b"", b"   \n\n", b"\xef\xbb\xbf"])
def test_an_empty_file(examine: Examine, content: bytes) -> None:
    assert only(examine(content)).problem == "is empty"


@pytest.mark.parametrize("content", [bytes(range(256)), b"PK\x03\x04\x00\x00", b"\x89PNG\r\n\x1a\n\0\0"])
def test_binary_rubbish(examine: Examine, content: bytes) -> None:
    assert "binary" in only(examine(content)).problem


def test_text_that_is_not_utf_8_reports_its_line(examine: Examine, good: str) -> None:
    finding = only(examine(good.replace("Alder", "Ald\xe9r").encode("latin-1")))
    assert "0xe9" in finding.problem
    assert finding.line == 4


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_named(examine: Examine, good: str, encoding: str) -> None:
    assert ("UTF-16" if encoding == "utf-16" else "binary") in only(examine(good.encode(encoding))).problem


def test_a_byte_order_mark_of_utf_8_does_no_harm(examine: Examine, good: str) -> None:
    examined = examine(good.encode("utf-8-sig"))
    assert examined.record
    assert examined.source.data.startswith(b"\xef\xbb\xbf")  # kept as received


def test_lines_end_as_they_like(examine: Examine, good: str) -> None:
    assert examine(good.replace("\n", "\r\n")).record == examine(good).record
    (finding,) = examine(good.replace('"4 in"', "4").replace("\n", "\r\n")).findings
    assert finding.line == 12


MISTAKES = [
    ('thickness = "4 in"', "thickness = 4 in", "no quotes", 'thickness = "4 in"'),
    ('thickness = "4 in"', "thickness = 4 in  # about", "no quotes", 'thickness = "4 in"'),
    ('use = "garage floor"', "use = garage floor", "no quotes", 'use = "garage floor"'),
    ('thickness = "4 in"', 'thickness = 4"', "no quotes", 'thickness = "4 in"'),
    ('length = "34 ft"', "length = 34' 6\"", "no quotes", 'length = "34 ft 6 in"'),
    ("latitude = 36.10", "latitude = 36,10", "comma", "latitude = 36.10"),
    ('use = "garage floor"', "use = \u201cgarage floor\u201d", "curly quotes", 'use = "garage floor"'),
    ('use = "garage floor"', 'use = "garage floor', "not closed", 'use = "garage floor"'),
    ('use = "garage floor"', 'use: "garage floor"', "colon", 'use = "garage floor"'),
    (
        "start = 2026-07-14T06:10:00",
        "start = 7/14/2026 6:10 AM",
        "no quotes",
        'start = "7/14/2026 6:10 AM"',
    ),
    ("end = 2026-07-14T07:25:00", "end = 07:25", "no quotes", 'end = "07:25"'),
    ('use = "garage floor"', "use =", "nothing after", 'use = "..."'),
    (
        "start = 2026-07-14T06:10:00",
        "start = 2026-07-14T06:10",
        "without seconds",
        "start = 2026-07-14T06:10:00",
    ),
    ('use = "garage floor"', "use = Yes", "lower case", "use = true"),
    ("[slab]", "slab", "no brackets", "[slab]"),
    ("[slab]", "Slab:", "no brackets", "[slab]"),
]


@pytest.mark.parametrize(
    ("right", "wrong", "word", "example"), MISTAKES, ids=[wrong for _, wrong, _, _ in MISTAKES]
)
def test_the_usual_mistakes_in_toml_are_reported_in_words(
    examine: Examine, good: str, right: str, wrong: str, word: str, example: str
) -> None:
    finding = only(examine(good.replace(right, wrong)))
    assert word in finding.problem
    assert finding.example == example
    assert finding.line == good.splitlines().index(right) + 1


def test_several_mistakes_are_reported_together(examine: Examine, good: str) -> None:
    examined = examine(
        good.replace('"4 in"', "4 in").replace('"3000 psi"', "3000 psi").replace("36.10", "36,1")
    )
    assert [finding.line for finding in examined.findings] == [5, 12, 19]


def test_other_mistakes_have_the_parsers_message(examine: Examine, good: str) -> None:
    finding = only(examine(good.replace("[slab]", "[slab")))
    assert "TOML" in finding.problem
    assert finding.line in {8, 9}


@pytest.mark.parametrize("quotes", ['"""', "'''"])
def test_a_text_that_is_never_closed_is_reported_where_it_opens(
    examine: Examine, good: str, quotes: str
) -> None:
    finding = only(examine(good.replace('use = "garage floor"', f"use = {quotes}garage floor")))
    assert finding.line == good.splitlines().index('use = "garage floor"') + 1
    assert quotes in finding.problem


def test_the_heading_of_a_list_has_two_brackets(examine: Examine, good: str) -> None:
    finding = only(examine(f'{good}\nticket\nnumber = "1"\n'))
    assert finding.example == "[[ticket]]"


def test_lines_within_long_text_are_not_taken_for_mistakes(examine: Examine, good: str) -> None:
    text = good.replace('"Alder Lane garage"', '"""\nnote = 4 in\n"""').replace('"4 in"', "4 in")
    assert [finding.line for finding in examine(text).findings] == [14]


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ('[slab]\nthickness = "5 in"\n', "slab"),
        ('cement = "I"\ncement = "II"\n', "mix.cement"),
        ("cement.x = 1\ncement.x = 2\n", "mix.cement.x"),
    ],
)
def test_a_key_written_twice_in_toml(examine: Examine, good: str, more: str, field: str) -> None:
    finding = only(examine(good + more))
    assert "written twice" in finding.problem
    assert finding.field == field


def test_a_key_written_twice_in_json(examine: Examine) -> None:
    finding = only(examine('{"id": "a",\n"site": {"name": "a",\n"name": "b"}}'))
    assert (finding.line, finding.field) == (3, "site.name")
    assert "first on line 2" in finding.problem


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ('{"id": "a",}', "comma too many"),
        ("{'id': 'a'}", "quotes"),
        ('{"id": 4 in}', "quotes"),
        ('{"id": "a"', "comma is missing"),
        ('{"id": "a"} x', "after the closing brace"),
        ('{"id": "a', "not closed"),
        ('{"id": }', "value is missing"),
    ],
)
def test_mistakes_in_json(examine: Examine, text: str, word: str) -> None:
    finding = only(examine(text))
    assert word in finding.problem
    assert finding.line == 1


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"a":' * 100_000,
        "{" + '"a":{' * 50 + "}" * 51,
        "a = " + "[" * 50 + "]" * 50,
        "a" + ".a" * 20 + " = 1",
        "a = " + "9" * 5000,
        '{"a": ' + "9" * 5000 + "}",
    ],
    ids=[
        "toml list",
        "json objects",
        "closed objects",
        "closed lists",
        "dotted",
        "long number",
        "long json number",
    ],
)
def test_what_would_exhaust_a_parser_is_a_finding(examine: Examine, text: str) -> None:
    examined = examine(text)
    assert examined.record is None
    assert examined.findings


def test_an_error_answer_of_a_service_is_no_record(examine: Examine) -> None:
    examined = examine(json.dumps({"error": True, "reason": "Latitude must be in range"}))
    assert {"error", "reason", "id", "site"} <= {finding.field for finding in examined.findings}


LOGO = '[contractor]\nlogo = "logo.png"\n'


def test_a_picture_beside_the_record(examine: Examine, good: str, tmp_path: Path) -> None:
    (tmp_path / "logo.png").write_bytes(b"png")
    examined = examine(good + LOGO)
    assert examined.findings == ()
    assert examined.record.contractor.logo == "logo.png"


def test_a_link_out_of_the_folder_is_a_fault(examine: Examine, good: str, tmp_path: Path) -> None:
    outside = tmp_path.parent / "secret.png"
    outside.write_bytes(b"png")
    (tmp_path / "logo.png").symlink_to(outside)
    finding = only(examine(good + LOGO))
    assert "link that leads out" in finding.problem


def test_a_link_to_a_folder_outside_is_a_fault(examine: Examine, good: str, tmp_path: Path) -> None:
    outside = tmp_path.parent / "elsewhere"
    outside.mkdir()
    (outside / "logo.png").write_bytes(b"png")
    (tmp_path / "photos").symlink_to(outside, target_is_directory=True)
    finding = only(examine(good + '[contractor]\nlogo = "photos/logo.png"\n'))
    assert "link that leads out" in finding.problem


def test_a_link_within_the_folder_is_good(examine: Examine, good: str, tmp_path: Path) -> None:
    (tmp_path / "real.png").write_bytes(b"png")
    (tmp_path / "logo.png").symlink_to("real.png")
    assert examine(good + LOGO).record.contractor.logo == "logo.png"


def test_a_link_in_a_circle_is_a_fault(examine: Examine, good: str, tmp_path: Path) -> None:
    (tmp_path / "logo.png").symlink_to("logo.png")
    assert "does not exist" in only(examine(good + LOGO)).problem


def test_a_folder_is_no_picture(examine: Examine, good: str, tmp_path: Path) -> None:
    (tmp_path / "logo.png").mkdir()
    assert "not a file" in only(examine(good + LOGO)).problem


def test_a_logger_beside_the_record(examine: Examine, good: str, tmp_path: Path) -> None:
    (tmp_path / "logger.csv").write_text("time_utc,temperature_c\n")
    record = examine(good + '[temperature_log]\nfile = "logger.csv"\ndepth = "2 in"\n').record
    assert record.temperature_log.depth == pytest.approx(0.0508)


def test_mistakes_of_form_and_of_sense_come_at_once(examine: Examine, good: str) -> None:
    """One line without quotes hides none of the faults in the others."""
    text = good.replace('use = "garage floor"', "use = garage floor").replace('"3000 psi"', '"300 psi"')
    text = text.replace("end = 2026-07-14T07:25:00", "end = 4:00")
    assert [(each.line, each.field) for each in examine(text).findings] == [
        (9, "use"),
        (16, "end"),
        (16, "placement.end"),
        (19, "mix.specified_strength"),
    ]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('id = "caf\u00e9"'.encode("cp1252"), "Notepad"),
        ('id = "x"'.encode("utf-16"), "Notepad"),
        (b"PK\x03\x04\x00\x00", "plain text"),
        (b"{\\rtf1\\ansi}", "plain text"),
    ],
)
def test_what_to_do_about_an_encoding_is_said(examine: Examine, content: bytes, words: str) -> None:
    """No message says "UTF-8" without the way to it."""
    finding = only(examine(content))
    assert words.casefold() in finding.example.casefold()
    assert "File, Save as" in finding.example
