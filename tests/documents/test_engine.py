"""The PDF engine needs libraries of the system: found as the engine tries them, and said before any work."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from handover.cli import main
from handover.documents import engine
from handover.errors import MissingLibraries

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_jobs" / "summer-garage"
ISSUED = "2026-07-14T12:30:00-04:00"
LIBRARIES = engine.engine_libraries()
REQUIRED = [each for each in LIBRARIES if each.required]

WITHOUT = """
import ctypes, json, sys
import cffi.api

absent = set(json.loads(sys.argv[1]))

def unless_absent(load, name_at):
    def load_it(*arguments, **others):
        name = arguments[name_at]
        if name in absent:
            raise OSError(f"cannot load library {name!r}")
        return load(*arguments, **others)
    return load_it

# The engine opens its libraries by the second, everybody else by the first.
ctypes.CDLL = unless_absent(ctypes.CDLL, 0)
cffi.api._load_backend_lib = unless_absent(cffi.api._load_backend_lib, 1)
"""


def without(library: engine.Library, code: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run code in a process of its own where a library cannot be opened by any name."""
    return subprocess.run(
        [sys.executable, "-c", WITHOUT + code, json.dumps(library.names), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )


def test_the_libraries_are_those_that_the_engine_tries_to_open() -> None:
    code = """
import cffi, json
tried = []
opens = cffi.FFI.dlopen

def watched(ffi, name, flags=0):
    tried.append([name, False])
    library = opens(ffi, name, flags)
    tried[-1][1] = True
    return library

cffi.FFI.dlopen = watched
import weasyprint
print(json.dumps(tried))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    tried = iter(json.loads(done.stdout))
    for library in LIBRARIES:
        for name in library.names:
            attempt, opened = next(tried)
            assert attempt == name
            if opened:
                break
    assert not list(tried)


def test_nothing_is_missing_here() -> None:
    assert engine.missing_libraries() == ()


def test_packages_are_known_for_every_required_library_and_for_no_other() -> None:
    assert {each.soname for each in REQUIRED} == set(engine.PACKAGES)


@pytest.mark.parametrize("library", REQUIRED, ids=lambda each: each.soname)
def test_an_issue_without_a_library_is_refused_at_once_in_one_message(
    library: engine.Library, tmp_path: Path
) -> None:
    code = "from handover.cli import main; sys.exit(main(sys.argv[2:]))"
    target = tmp_path / "set"
    weather = SAMPLE / "weather.csv"
    done = without(
        library, code, "issue", SAMPLE / "job.toml", "-w", weather, "--as-of", ISSUED, "-o", target
    )
    assert done.returncode == 1  # and the engine itself, which has the last word, could not begin
    assert done.stdout == ""
    first, *others = done.stderr.splitlines()
    assert first.endswith(f"lacks system libraries that the PDF engine needs: {library.soname}.")
    assert others[-1] == "Nothing was written."
    assert not target.exists()


@pytest.mark.parametrize(
    "library", [each for each in LIBRARIES if not each.required], ids=lambda each: each.soname
)
def test_a_library_that_the_engine_can_do_without_is_not_asked_for(library: engine.Library) -> None:
    code = "from handover.documents.engine import main; sys.exit(main([]))"
    done = without(library, code)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.fixture
def no_pango(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without Pango, as far as our own check goes."""
    monkeypatch.setattr(engine, "missing_libraries", lambda: ("libpango-1.0.so.0",))
    engine.require_libraries.cache_clear()


@pytest.mark.usefixtures("no_pango")
@pytest.mark.parametrize(
    "command",
    [
        "issue absent.toml -o {0}/set",
        "reissue absent --in {0}",
        "watch --in {0} -o {0}/out",
        "batch {0} -o {0}/out",
    ],
)
def test_whatever_makes_a_pdf_says_so_before_it_looks_at_anything_else(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(command.format(tmp_path).split()) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "libpango-1.0.so.0" in printed.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("no_pango")
@pytest.mark.parametrize(
    "command", ["new {0}/new.toml", "check {1}/job.toml", "plan {1}/job.toml -w {1}/weather.csv --as-of {2}"]
)
def test_what_makes_no_pdf_works_without_the_libraries(command: str, tmp_path: Path) -> None:
    assert main([each.format(tmp_path, SAMPLE, ISSUED) for each in command.split()]) == 0


@pytest.mark.usefixtures("no_pango")
def test_rendering_says_so_for_whoever_does_not_come_by_the_command_line() -> None:
    engine.load_engine.cache_clear()
    from handover.documents.pdf import render_pdf  # noqa: PLC0415

    with pytest.raises(MissingLibraries, match=r"libpango-1\.0\.so\.0"):
        render_pdf("<p>")


@pytest.mark.parametrize(
    ("platform", "programs", "expected"),
    [
        ("linux", {"apt-get"}, "-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"),
        ("linux", {"dnf", "brew"}, "sudo dnf install -y pango harfbuzz"),
        ("darwin", {"brew"}, "brew install pango harfbuzz"),
        ("linux", set(), "Install the packages of your system that hold them"),
        ("win32", {"apt-get"}, "WSL"),
    ],
)
def test_each_system_gets_its_own_command(
    platform: str, programs: set[str], expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(engine.shutil, "which", lambda name: name if name in programs else None)
    lines = list(engine.remedy(["libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz-subset.so.0"]))
    assert expected in "\n".join(lines)


def test_a_library_of_which_no_package_is_known_is_named_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(engine.shutil, "which", lambda name: name if name == "apt-get" else None)
    lines = list(engine.remedy(["libpango-1.0.so.0", "libnew.so.7"]))
    assert lines[1].endswith("--no-install-recommends libpango-1.0-0")
    assert "libnew.so.7" in lines[2]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system's search for libraries is needed")
def test_no_compiler_is_asked_for_libraries() -> None:
    """It would write temporary files that a stop leaves, for names that no Linux has."""
    code = """
import sys
sys.addaudithook(lambda event, _: print(event) if event in {"subprocess.Popen", "os.posix_spawn"} else None)
from handover.documents.engine import load_engine
load_engine()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, ""), done.stderr
