"""The wheel carries all that the program needs, and works away from the clone."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import distribution, distributions
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

if TYPE_CHECKING:
    from collections.abc import Iterable
    from types import ModuleType

ROOT = Path(__file__).parents[1]

FROM_THE_WHEEL = """
import sys
sys.path.insert(0, sys.argv.pop(1))
import handover
from handover.cli import main
print(handover.__file__)
raise SystemExit(main(sys.argv[1:]))
"""


PINNED = re.compile(r"^([a-z0-9-]+)(?:\[[a-z,]+\])?==(\S+)(?: ; (.+?))? \\$", re.MULTILINE)
"""A line of a lock: the name, the version, and for which systems."""


def lock(name: str) -> set[tuple[str, ...]]:
    """Return what a lock names."""
    return set(PINNED.findall((ROOT / name).read_text(encoding="utf-8")))


def test_the_locks_name_the_same_versions_and_all_that_is_asked_for() -> None:
    run_time, desk, tests = (lock(f"requirements{each}.lock") for each in ("", "-desk", "-dev"))
    versions = [{each[:2] for each in named} for named in (run_time, desk, tests)]
    assert versions[0] < versions[1] < versions[2]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    groups = project["dependency-groups"]

    def names(asked: list[object]) -> set[str]:
        return {re.split(r"[\[<>=]", each)[0].lower() for each in asked if isinstance(each, str)}

    wanted = names(project["project"]["dependencies"]) | names(groups["build"])
    assert wanted <= {name for name, *_ in run_time}
    assert wanted | names(project["project"]["optional-dependencies"]["desk"]) <= {name for name, *_ in desk}
    assert wanted | names(groups["dev"]) <= {name for name, *_ in tests}


@pytest.fixture(scope="module")
def lock_part() -> ModuleType:
    spec = spec_from_file_location("lock_part", ROOT / ".ci" / "lock_part.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def needed_by(requirements: Iterable[str]) -> set[str]:
    """Return the installed packages that some need, themselves included, as their metadata say."""
    found: set[tuple[str, str]] = set()
    left = [Requirement(each) for each in requirements]
    while left:
        asked = left.pop()
        for wanted in ("", *asked.extras):
            if (one := (canonicalize_name(asked.name), wanted)) in found:
                continue
            found.add(one)
            needed = map(Requirement, distribution(asked.name).requires or ())
            left += [each for each in needed if not each.marker or each.marker.evaluate({"extra": wanted})]
    return {name for name, _ in found}


@pytest.mark.parametrize("name", ["run-time", "build"])
def test_a_part_of_the_lock_has_all_that_is_needed_and_nothing_else(name: str, lock_part: ModuleType) -> None:
    """The judge is the metadata of what is installed here."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    asked = (
        project["project"]["dependencies"] if name == "run-time" else project["dependency-groups"]["build"]
    )
    needed = needed_by(asked)
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    part = lock_part.part(name, text)
    here = {canonicalize_name(each.metadata["Name"]) for each in distributions()}
    assert set(part) & here == needed
    for each in part.values():
        assert each in text
        assert "--hash=sha256:" in each


def test_the_run_time_has_nothing_of_the_build(lock_part: ModuleType) -> None:
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    assert not {"hatchling", "shtab", "argparse-manpage", "editables"} & set(lock_part.part("run-time", text))
    assert set(lock_part.part("run-time", text)) | set(lock_part.part("build", text)) == set(
        lock_part.blocks(text)
    )


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-desk.lock", "requirements-dev.lock"])
def test_a_lock_has_a_hash_for_everything_and_names_no_registry(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if "==" in line]
    assert len(PINNED.findall(text)) == len(lines) > 0
    assert all(PINNED.match(line) for line in lines)
    assert text.count("\\\n    --hash=sha256:") >= len(lines)
    assert "://" not in text
    assert "index" not in text


def build(target: str, source: Path, folder: Path) -> Path:
    """Build a wheel or an sdist, with the backend that is installed: no registry is asked."""
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", folder],
        cwd=source,
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stderr
    (file,) = folder.iterdir()
    return file


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("wheel", ROOT, tmp_path_factory.mktemp("dist"))


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the sdist; give its folder, unpacked."""
    folder = tmp_path_factory.mktemp("sdist")
    archive, unpacked = build("sdist", ROOT, folder / "dist"), folder / "unpacked"
    unpacked.mkdir()
    subprocess.run(["tar", "-xf", archive, "-C", unpacked], check=True)
    (source,) = unpacked.iterdir()
    return source


def test_the_sdist_has_all_that_a_clone_has(sdist: Path) -> None:
    """So what README and guide name works from it as well: the sample, the tests, the image."""
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("this is no clone, or there is no git here")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    names = {name for name in listed.stdout.split("\0") if name and (ROOT / name).exists()}
    assert names
    assert names - {each.relative_to(sdist).as_posix() for each in sdist.rglob("*")} == set()
    for name in names:
        assert (sdist / name).read_bytes() == (ROOT / name).read_bytes()
        assert os.access(sdist / name, os.X_OK) == os.access(ROOT / name, os.X_OK)


def test_each_file_that_the_makefile_names_is_in_the_sdist(sdist: Path) -> None:
    makefile = (sdist / "Makefile").read_text(encoding="utf-8")
    named = set(re.findall(r"(?<![\w./])(?:\.ci|tests|sample_jobs)/[\w./-]*\w", makefile))
    assert {".ci/environment", ".ci/changed.py", "tests/bare/image.py"} <= named
    assert {each for each in named if not (sdist / each).exists() and "bench_" not in each} == set()


def test_the_wheel_of_the_sdist_is_that_of_the_clone(wheel: Path, sdist: Path, tmp_path: Path) -> None:
    assert build("wheel", sdist, tmp_path / "dist").read_bytes() == wheel.read_bytes()


def test_every_template_and_every_table_of_rules_is_in_the_wheel(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    templates = [each for each in (ROOT / "templates").rglob("*") if each.is_file()]
    assert templates
    for each in templates:
        assert f"handover/_templates/{each.relative_to(ROOT / 'templates').as_posix()}" in names
    for each in (ROOT / "handover").rglob("*"):
        if each.is_file() and "__pycache__" not in each.parts:
            assert each.relative_to(ROOT).as_posix() in names
    assert not [name for name in names if name.startswith(("tests/", "sample_jobs/"))]


@pytest.mark.parametrize(
    ("place", "begins"),
    [
        ("share/man/man1/handover.1", b".TH HANDOVER"),
        ("share/bash-completion/completions/handover", b"#"),
        ("share/zsh/site-functions/_handover", b"#compdef handover"),
        ("share/handover/completion.tcsh", b"#"),
    ],
)
def test_the_man_page_and_the_completions_are_installed_with_it(
    wheel: Path, place: str, begins: bytes
) -> None:
    archive = zipfile.ZipFile(wheel)
    (name,) = (each for each in archive.namelist() if each.endswith(f".data/data/{place}"))
    content = archive.read(name)
    assert content.startswith(begins)
    assert b"reissue" in content


def test_what_writes_them_is_not_needed_by_who_installs_the_wheel(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    (metadata,) = (each for each in archive.namelist() if each.endswith(".dist-info/METADATA"))
    required = [
        line
        for line in archive.read(metadata).decode().splitlines()
        if line.startswith("Requires-Dist:") and "extra ==" not in line
    ]
    assert required
    assert not [line for line in required if "shtab" in line or "manpage" in line]


def test_the_wheel_issues_documents_without_the_clone(wheel: Path, tmp_path: Path) -> None:
    package = tmp_path / "site-packages"
    zipfile.ZipFile(wheel).extractall(package)
    sample = ROOT / "sample_jobs" / "summer-garage"
    done = subprocess.run(
        [sys.executable, "-c", FROM_THE_WHEEL, package, "issue", sample / "job.toml",
         "-w", sample / "weather.csv", "--as-of", "2026-07-14T12:30:00-04:00", "-o", tmp_path / "out"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(str(package))
    assert (tmp_path / "out" / "care-sheet.pdf").read_bytes().startswith(b"%PDF")
