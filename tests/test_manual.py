"""The man page and the completions of the shells: of these commands, without warnings, and they complete."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from handover.cli.arguments import build_parser

ROOT = Path(__file__).parents[1]


def needs(program: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(shutil.which(program) is None, reason=f"there is no {program} here")


def commands() -> dict[str, Any]:
    """Return the parser of each command by its name."""
    (found,) = (each for each in build_parser()._actions if each.choices)
    return dict(found.choices or {})


@pytest.fixture(scope="session")
def manual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Generate the files as the build does; return their folder."""
    spec = importlib.util.spec_from_file_location("hatch_build", ROOT / "hatch_build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    folder = tmp_path_factory.mktemp("manual")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "50")  # the output does not depend on it
        for name, content in module.generated().items():
            (folder / name).write_text(content, encoding="utf-8")
    return folder


@needs("groff")
def test_the_man_page_is_set_without_a_warning(manual: Path) -> None:
    done = subprocess.run(
        ["groff", "-man", "-ww", "-Tutf8", "-P-c", manual / "handover.1"], capture_output=True, check=True
    )
    assert done.stderr == b""


def test_the_man_page_has_every_command_and_option(manual: Path) -> None:
    page = (manual / "handover.1").read_text("utf-8").replace("\\-", "-")
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
        (["schema", "s"], {"schedule", "starts"}),
        (["forget", "alder"], {""}),
    ],
)
@needs("bash")
def test_bash_completes(manual: Path, words: list[str], expected: set[str], tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "alder.toml").write_text("")
    command = ["bash", "--norc", "-c", COMPLETE, "bash", manual / "handover.bash", tmp_path, "handover"]
    done = subprocess.run([*command, *words], capture_output=True, text=True, check=True)
    assert {each.rstrip("/") for each in done.stdout.split("\n")[:-1]} == expected


@pytest.mark.parametrize(("shell", "file"), [("zsh", "_handover"), ("tcsh", "handover.tcsh")])
def test_other_shells_can_read_theirs(manual: Path, shell: str, file: str) -> None:
    if shutil.which(shell) is None:
        pytest.skip(f"there is no {shell} here")
    done = subprocess.run([shell, "-fn", manual / file], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
