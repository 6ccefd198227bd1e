"""A new record by questions: through a pipe, on a pseudo-terminal, stopped, ended early."""

from __future__ import annotations

import os
import re
import select
import signal
import subprocess
import sys
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.jobs.reading import examine_job
from handover.jobs.record_template import fill_record, record_template
from handover.service.record_interview import QUESTIONS, RecordInterview

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Run = Callable[..., Any]

ANSWERS = [
    "Mesquite Court driveway",
    "14 Mesquite Court, Austin TX",
    "Ana Ruiz",
    "30.27, -97.74",
    "driveway",
    "42 ft x 16 ft",
    "4 in",
    "outdoors",
    "2026-08-12 12:10 PM",
    "1:20 PM",
    "4:30 PM",
    "3,500 psi",
    "garden hose",
    "6:30 to 8 am and 5 pm to 9 pm",
    "512-555-0188",
]


@pytest.fixture
def ask(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[[list[str]], Any]:
    """Run `new --ask` with lines as the input."""

    def ask(lines: list[str]) -> Any:
        left = iter(lines)

        def read(_: str = "") -> str:
            try:
                return next(left)
            except StopIteration:
                raise EOFError from None

        monkeypatch.setattr("builtins.input", read)
        return run("new", tmp_path / "job.toml", "--ask")

    return ask


def test_each_example_can_be_the_answer() -> None:
    assert len(QUESTIONS) == len(ANSWERS)
    interview = RecordInterview()
    for question in QUESTIONS:
        assert [
            each for each in interview.accept(question, question.example) if each.severity == "fault"
        ] == []


def test_the_answers_are_the_record(ask: Callable[..., Any], tmp_path: Path) -> None:
    result = ask(ANSWERS)
    assert result.status == 0, result.err
    examined = examine_job(tmp_path / "job.toml")
    assert examined.findings == ()
    record = examined.record
    assert record.id == "2026-08-12-mesquite-court-driveway"
    assert (record.site.latitude, record.site.longitude) == (30.27, -97.74)
    assert (f"{record.placement.start:%H:%M}", f"{record.placement.end:%H:%M}") == ("12:10", "13:20")
    assert (record.curing.method, record.slab.use) == ("hose by hand", "driveway")
    assert record.mix.specified_strength == pytest.approx(3500 * 0.00689475729, rel=1e-6)
    assert record.contractor.phone == "512-555-0188"
    assert (record.owner.name, record.site.address) == ("Ana Ruiz", "14 Mesquite Court, Austin TX")
    assert f"{record.placement.finished:%H:%M}" == "16:30"
    assert record.curing.available == ("06:30-08:00", "17:00-21:00")


def test_the_rest_of_the_record_is_there_to_fill_in(ask: Callable[..., Any], tmp_path: Path) -> None:
    ask(ANSWERS)
    text = (tmp_path / "job.toml").read_text(encoding="utf-8")
    keys = set(re.findall(r"^(?:# )?([a-z_]+) = ", text, flags=re.MULTILINE))
    assert keys == set(re.findall(r"^(?:# )?([a-z_]+) = ", record_template(), flags=re.MULTILINE))


def test_a_faulty_answer_is_asked_again_in_the_words_of_check(
    ask: Callable[..., Any], run: Run, tmp_path: Path
) -> None:
    result = ask([*ANSWERS[:6], "4", *ANSWERS[6:]])
    assert result.status == 0
    said = '"4" has no unit; write it as "4 in" or "100 mm"'
    assert said in result.out
    record = (
        (tmp_path / "job.toml").read_text(encoding="utf-8").replace('thickness = "4 in"', 'thickness = "4"')
    )
    (tmp_path / "spoilt.toml").write_text(record, encoding="utf-8")
    assert said in run("check", tmp_path / "spoilt.toml").err


def test_an_answer_is_checked_with_those_before_it(ask: Callable[..., Any], tmp_path: Path) -> None:
    result = ask([*ANSWERS[:9], "2026-08-12 11:00", 'end = "2026-08-12 13:20"', *ANSWERS[10:]])
    assert "is not after placement.start" in result.out
    assert examine_job(tmp_path / "job.toml").record is not None


def test_a_doubtful_answer_is_kept_by_enter_or_given_again(ask: Callable[..., Any], tmp_path: Path) -> None:
    kept = ask([*ANSWERS[:8], "8/12/2026 12:10 PM", "", *ANSWERS[9:]])
    assert "Enter keeps it" in kept.out
    text = (tmp_path / "job.toml").read_text(encoding="utf-8")
    assert 'start = "2026-08-12 12:10"' in text
    (tmp_path / "job.toml").unlink()
    ask([*ANSWERS[:8], "2026-08-12 00:10", "2026-08-12 12:10", *ANSWERS[9:]])
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == text


def test_what_may_be_left_out_is_named_at_the_end(ask: Callable[..., Any], tmp_path: Path) -> None:
    result = ask([*ANSWERS[:1], "", "", *ANSWERS[3:7], "", "", "", "", ANSWERS[11], "", "", ""])
    assert result.status == 0
    assert "Still to fill in: placement.start" in result.out
    assert "Still to fill in: placement.end" in result.out
    faults = {each.field for each in examine_job(tmp_path / "job.toml").faults}
    assert faults == {"placement.start", "placement.end"}


def test_a_required_answer_may_not_be_left_out(ask: Callable[..., Any]) -> None:
    result = ask(["", *ANSWERS])
    assert "needs an answer" in result.out
    assert result.status == 0


def test_a_use_that_is_known_is_not_asked_and_not_counted(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    left = iter([*ANSWERS[:4], *ANSWERS[5:]])
    monkeypatch.setattr("builtins.input", lambda _: next(left))
    result = run("new", tmp_path / "job.toml", "--ask", "--use", "driveway")
    count = len(ANSWERS) - 1
    assert re.findall(r"^([0-9]+)/([0-9]+) ", result.out, flags=re.MULTILINE) == [
        (str(number), str(count)) for number in range(1, count + 1)
    ]
    assert examine_job(tmp_path / "job.toml").record.slab.use == "driveway"


def test_hours_are_no_telephone_number(ask: Callable[..., Any], tmp_path: Path) -> None:
    result = ask([*ANSWERS[:-1], "6:30 to 8 am and after 5 pm", ANSWERS[-1]])
    assert "is not a telephone number" in result.out
    assert examine_job(tmp_path / "job.toml").record.contractor.phone == ANSWERS[-1]


@pytest.mark.parametrize("count", [0, 4, len(ANSWERS) - 1])
def test_an_input_that_ends_early_writes_nothing(ask: Callable[..., Any], tmp_path: Path, count: int) -> None:
    result = ask(ANSWERS[:count])
    assert result.status == 2
    assert f"question {count + 1} of {len(ANSWERS)}" in result.err
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_exists_is_refused_before_the_first_question(
    ask: Callable[..., Any], tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text("mine")
    result = ask(ANSWERS)
    assert result.status == 2
    assert f"1/{len(ANSWERS)}" not in result.out
    assert (tmp_path / "job.toml").read_text() == "mine"


COMMAND = [sys.executable, "-c", "from handover.cli import entry; entry()", "new", "job.toml", "--ask"]


def test_through_a_pipe(tmp_path: Path) -> None:
    text = "\n".join(ANSWERS) + "\n"
    done = subprocess.run(COMMAND, input=text.encode(), cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert examine_job(tmp_path / "job.toml").record is not None


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are those of Unix")
@pytest.mark.parametrize("stopped_at", [None, 4])
def test_on_a_terminal_and_stopped_by_ctrl_c(tmp_path: Path, stopped_at: int | None) -> None:
    """As a person sees it: the terminal turns Ctrl-C into the signal."""
    import pty  # noqa: PLC0415 - of Unix only

    pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(tmp_path)
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a suite in the background ignores it
        os.execv(COMMAND[0], COMMAND)  # noqa: S606 - no shell
    shown = b""

    def read_until(mark: bytes, press: bytes = b"") -> None:
        """Read until the mark is shown; a key that came just before the reading of it is pressed again."""
        nonlocal shown
        while mark not in shown:
            while press and not select.select([terminal], [], [], 1.0)[0]:
                os.write(terminal, press)
            try:
                shown += os.read(terminal, 4096)
            except OSError:  # the other end has closed
                break

    for number, answer in enumerate(ANSWERS, start=1):
        read_until(f"{number}/{len(ANSWERS)}".encode())
        read_until(b"> ")
        shown = b""
        os.write(terminal, b"\x03" if number == stopped_at else f"{answer}\n".encode())
        if number == stopped_at:
            break
    if stopped_at:
        read_until(b"Stopped", press=b"\x03")
    else:
        read_until(b"handover check")
    _, status = os.waitpid(pid, 0)
    os.close(terminal)
    if stopped_at:
        assert b"Nothing half-written is left" in shown
        assert os.waitstatus_to_exitcode(status) == 1
        assert list(tmp_path.iterdir()) == []
    else:
        assert os.waitstatus_to_exitcode(status) == 0
        assert examine_job(tmp_path / "job.toml").record is not None


TEXTS = st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=40)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(name=TEXTS, phone=TEXTS, latitude=st.floats(-90, 90), thickness=TEXTS)
def test_what_is_filled_in_is_what_is_read(name: str, phone: str, latitude: float, thickness: str) -> None:
    values = {
        "site.name": name,
        "contractor.phone": phone,
        "site.latitude": latitude,
        "slab.thickness": thickness,
    }
    tables = tomllib.loads(fill_record(record_template(), values))
    assert tables["site"]["name"] == name
    assert tables["contractor"]["phone"] == phone
    assert tables["site"]["latitude"] == latitude
    assert tables["slab"]["thickness"] == thickness
    assert tables["owner"] == {}


def test_a_field_without_a_line_is_an_error() -> None:
    with pytest.raises(KeyError):
        fill_record(record_template(), {"slab.colour": "red"})


SIZE = next(each for each in QUESTIONS if "slab.area" in each.fields)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("42 ft x 16 ft", {"length": "42 ft", "width": "16 ft"}),
        ("42 x 16 ft", {"length": "42 ft", "width": "16 ft"}),
        ("42' by 16' 6\"", {"length": "42'", "width": "16' 6\""}),
        ("6,5 m por 5 m", {"length": "6,5 m", "width": "5 m"}),
        ("884 sq ft", {"area": "884 sq ft"}),
        ('length = "42 ft", width = "16 ft"', {"length": "42 ft", "width": "16 ft"}),
    ],
)
def test_a_size_as_people_say_it(text: str, size: dict[str, str]) -> None:
    interview = RecordInterview()
    assert interview.accept(SIZE, text) == []
    tables = tomllib.loads(interview.record().text)
    assert {key: value for key, value in tables["slab"].items() if value} == size


@pytest.mark.parametrize(("text", "problem"), [("40'", "is one side"), ("3,500 psi", '"3,500 psi" is not')])
def test_what_is_no_size_is_quoted_as_written_and_both_ways_are_shown(text: str, problem: str) -> None:
    (finding,) = RecordInterview().accept(SIZE, text)
    assert problem in finding.problem
    assert finding.example == SIZE.example


def test_sides_without_a_unit_are_quoted_without_blanks() -> None:
    examples = [each.example for each in RecordInterview().accept(SIZE, "12 x 10")]
    assert examples == ['length = "12 ft" or "12 m"', 'width = "10 ft" or "10 m"']


@pytest.mark.parametrize("text", ["42 ft", 'length = "42 ft"', "4 x 5", "big"])
def test_a_size_that_is_none_is_asked_again(text: str) -> None:
    interview = RecordInterview()
    assert any(each.severity == "fault" for each in interview.accept(SIZE, text))
    assert interview.accept(SIZE, "42 ft x 16 ft") == []


@pytest.mark.parametrize(
    ("answer", "exposure", "room"),
    [
        ("indoors, 60 degF", "indoors", {"room_temperature": "60 degF"}),
        ("inside, heated", "indoors", {"room_heated": True}),
        ("Indoors, no heat", "indoors", {"room_heated": False}),
        ("adentro, sin calefacción", "indoors", {"room_heated": False}),
        ("60 degF", "indoors", {"room_temperature": "60 degF"}),
        ("unheated", "indoors", {"room_heated": False}),
        ("room_heated = true", "indoors", {"room_heated": True}),
        ('room_temperature = "12 degC"', "indoors", {"room_temperature": "12 degC"}),
        ("carport", "roofed", {}),
    ],
)
def test_a_slab_indoors_is_asked_for_its_room(answer: str, exposure: str, room: dict[str, Any]) -> None:
    interview = RecordInterview()
    place = next(each for each in QUESTIONS if "slab.exposure" in each.fields)
    asked = [each.field for each in interview.accept(place, answer)]
    assert asked == (["slab.exposure"] if room == {"room_heated": False} else [])  # is it closed?
    tables = tomllib.loads(interview.record().text)
    assert tables["slab"]["exposure"] == exposure
    assert {key: value for key, value in tables["site"].items() if key.startswith("room_")} == room


def test_indoors_alone_is_a_question_about_the_room() -> None:
    interview = RecordInterview()
    place = next(each for each in QUESTIONS if "slab.exposure" in each.fields)
    (finding,) = interview.accept(place, "indoors")
    assert (finding.field, finding.severity) == ("site.room_heated", "caution")
