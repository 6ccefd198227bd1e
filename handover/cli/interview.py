"""The questions of `new --ask`, one after another, on a terminal or from a pipe."""

from __future__ import annotations

import sys

from handover.cli.output import wrap

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handover.errors import Finding
    from handover.service.record_interview import Question, RecordInterview, WrittenRecord


def ask_record(use: str | None = None) -> WrittenRecord:
    """Ask for a record; return it once every question has an answer that can be used.

    Args:
        use: What the slab is for, if that needs no question.

    Raises:
        UnusableInput: The input ends before that.
        KeyboardInterrupt: Somebody stopped it; nothing was written.
    """
    from handover.service.record_interview import QUESTION_OF_USE, RecordInterview

    interview = RecordInterview()
    is_use_known = use is not None and not interview.accept(QUESTION_OF_USE, use)
    questions = [each for each in interview.questions if each != QUESTION_OF_USE or not is_use_known]
    count = len(questions)
    print(
        f"{count} questions. Enter alone leaves one out where that is possible; Ctrl-C stops, "
        "and writes nothing."
    )
    for number, question in enumerate(questions, start=1):
        print()
        print("\n".join(wrap(f"{number}/{count}  {question.text}", first="", indent="      ")))
        print(f"      such as: {question.example}" + ("" if question.is_required else "   (or Enter)"))
        _ask(interview, question, f"{number} of {count}")
    return interview.record()


def _ask(interview: RecordInterview, question: Question, number: str) -> None:
    """Ask one question until its answer can be used."""
    doubtful = None
    while True:
        text = _read_line(number)
        if doubtful is not None and not text.strip():
            return  # the answer before is meant as it is
        findings = interview.accept(question, text)
        for each in findings:
            _print_finding(each)
        if not findings:
            return
        doubtful = text if all(each.severity == "caution" for each in findings) else None
        if doubtful is not None:
            print("    Enter keeps it; or answer again.")


def _read_line(number: str) -> str:
    from handover.errors import UnusableInput

    try:
        return input("> ")
    except EOFError:
        problem = f"the input ended at question {number}, and nothing was written"
        raise UnusableInput.with_finding(
            problem, expected="a line for each question", example="handover new alder-garage.toml --ask"
        ) from None
    except UnicodeDecodeError:
        problem = f"the answer to question {number} is in another encoding than that of the terminal"
        raise UnusableInput.with_finding(problem, expected=f"text in {sys.stdin.encoding}") from None


def _print_finding(finding: Finding) -> None:
    """Print a finding in the words of `check`."""
    print("\n".join(wrap(finding.problem, first="    ")))
    for title, text in (("Expected", finding.expected), ("Example", finding.example)):
        if text:
            print("\n".join(wrap(f"{title + ':':<9} {text}", first="    ", indent="              ")))
