"""The man page and the completions of the shells: of these commands, without warnings, and they complete."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from handover.cli.arguments import parser_of_all

MANUAL = Path(__file__).parents[1] / "manual"


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(shutil.which(program) is None, reason=f"there is no {program} here")


def commands() -> dict[str, Any]:
    """Return the parser of each command by its name."""
    (found,) = (each for each in parser_of_all()._actions if each.choices)
    return dict(found.choices or {})


def test_what_is_kept_is_what_the_commands_give(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a usage breaks into lines is argparse's affair, and differs among versions of Python."""
    monkeypatch.setenv("COLUMNS", "50")  # put back afterwards; what is written does not depend on it
    spec = importlib.util.spec_from_file_location("generate", MANUAL / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name, content in module.generated().items():
        kept = (MANUAL / name).read_text("utf-8")
        assert kept.split() == content.split(), f"manual/{name} is of other commands (make manual)"


@needs("groff")
def test_the_man_page_is_set_without_a_warning() -> None:
    done = subprocess.run(
        ["groff", "-man", "-ww", "-Tutf8", "-P-c", MANUAL / "handover.1"], capture_output=True, check=True
    )
    assert done.stderr == b""


def test_the_man_page_has_every_command_and_option() -> None:
    page = (MANUAL / "handover.1").read_text("utf-8").replace("\\-", "-")
    for name, parser in commands().items():
        _, _, section = page.partition(f".SS \\fBhandover {name}\\fR")
        section, _, _ = section.partition("\n.S")
        for action in parser._actions:
            for option in {*action.option_strings} - {"-h", "--help"}:
                assert f"\\fB{option}\\fR" in section, f"{name} {option}"
    for heading in ("EXIT STATUS", "ENVIRONMENT", "FILES", "EXAMPLES", "LIMITS"):
        assert f".SH {heading}\n" in page


COMPLETE = """
set -eu
source "$1"
cd "$2"
shift 2
COMP_WORDS=("$@")
COMP_CWORD=$(($# - 1))
_shtab_handover
printf '%s\\n' "${COMPREPLY[@]}"
"""


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["iss"], {"issue"}),
        (["re"], {"reindex", "reissue"}),
        (["issue", "--pa"], {"--paper"}),
        (["issue", "--paper", ""], {"letter", "a4"}),
        (["issue", "alder"], {"alder.toml"}),
        (["issue", "alder.toml", "-o", ""], {"out"}),
        (["schema", "s"], {"schedule"}),
        (["forget", "alder"], {""}),
    ],
)
@needs("bash")
def test_bash_completes(words: list[str], expected: set[str], tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "alder.toml").write_text("")
    command = ["bash", "--norc", "-c", COMPLETE, "bash", MANUAL / "handover.bash", tmp_path, "handover"]
    done = subprocess.run([*command, *words], capture_output=True, text=True, check=True)
    assert {each.rstrip("/") for each in done.stdout.split("\n")[:-1]} == expected


@pytest.mark.parametrize(("shell", "file"), [("zsh", "_handover"), ("tcsh", "handover.tcsh")])
def test_other_shells_can_read_theirs(shell: str, file: str) -> None:
    if shutil.which(shell) is None:
        pytest.skip(f"there is no {shell} here")
    done = subprocess.run([shell, "-fn", MANUAL / file], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
