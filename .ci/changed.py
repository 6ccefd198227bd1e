"""Print which tests a change calls for: `python .ci/changed.py [COMMIT]`.

A change is what differs from COMMIT, else from where this branch left origin/main; files that git does not
track yet count as well. A test file calls for itself, a module for the tests of its package and of its name.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path, PurePosixPath

ROOT = Path(__file__).parents[1]
ALWAYS = {"tests/test_architecture.py", "tests/test_vocabulary.py"}
TESTS = {
    "handover/air": {"tests/identities/test_psychrometrics.py"},
    "handover/base/atomic": {"tests/campaigns", "tests/test_publish.py"},
    "handover/base": {"tests/test_units.py", "tests/test_cli.py"},
    "handover/cli": {"tests/test_cli.py"},
    "handover/concrete": {"tests/identities"},
    "handover/documents/pdf": {"tests/documents/test_archival.py"},
    "handover/schedule/apply_measurements": {"tests/schedule/test_measurements.py"},
    "handover/schedule/cylinders": {"tests/schedule/test_measurements.py"},
    "handover/schedule/delivery_tickets": {"tests/schedule/test_measurements.py"},
    "handover/schedule/surface_observations": {"tests/schedule/test_surface_observations.py"},
    "handover/schedule/temperature_log": {"tests/schedule/test_measurements.py"},
    "handover/service": {"tests/test_archiving.py", "tests/test_publish.py"},
    "handover/service/forecasts": {"tests/test_batch.py"},
    "handover/service/inputs": {"tests/test_issue.py"},
    "handover/service/mail_server": {"tests/send"},
    "handover/service/reissuing": {"tests/test_reissue.py"},
    "handover/service/render": {"tests/test_issue.py"},
    "handover/service/sending": {"tests/send"},
    "handover/service/start_hours": {"tests/test_starts.py"},
    "handover/documents/start_page": {"tests/test_starts.py"},
    "handover/documents/starts_json": {"tests/test_starts.py"},
    "handover/documents/words/starts": {"tests/test_starts.py"},
    "handover/documents/charts/start_hours": {"tests/test_starts.py"},
    "handover/service/settings": {"tests/test_reissue.py"},
    "handover/service/config": {"tests/test_config.py"},
    "handover/service/day_calendar": {"tests/test_office.py"},
    "handover/service/message_stores": {"tests/send"},
    "handover/service/publish": {"tests/campaigns"},
    "handover/service/pdf_workers": {"tests/test_workers.py"},
    "handover/service/send_log": {"tests/send"},
    "handover/service/worker_pool": {"tests/test_workers.py", "tests/test_batch.py"},
    "handover/service/workers": {"tests/test_batch.py"},
    "handover/errors.py": {"tests/test_cli.py"},
    ".ci/environment": {"tests/test_environment.py"},
    ".ci/lock_part.py": {"tests/test_packaging.py"},
    ".ci/unlocked.py": {"tests/test_environment.py"},
    "hatch_build.py": {"tests/test_manual.py", "tests/test_packaging.py"},
    "pyproject.toml": {"tests/test_packaging.py"},
    "README.md": {"tests/test_config.py"},
    "handover/units.py": {"tests/test_units.py"},
    "templates": {
        f"tests/documents/test_{each}.py" for each in ("joint_words", "languages", "wording", "one_wording")
    },
    "sample_jobs": {"tests/test_issue.py"},
}
"""Tests of what has no folder of its name under `tests`."""

LONG = {
    *("test_archival.py", "test_engine.py", "test_in_a_browser.py", "test_layout.py", "test_pages.py"),
    *("test_as_owners_ask.py", "test_calendars_in_other_programs.py", "test_joint_words.py"),
    *("test_backtest.py", "test_frost_protection.py", "test_measurements.py", "test_rule_selection.py"),
    *("test_fly_ash.py", "test_frost.py", "test_joints.py", "test_order.py", "test_winter.py"),
    *("test_ensemble.py", "test_start_hours.py", "test_surface_observations.py", "test_sweeps.py"),
    *("test_between.py", "test_cautions.py", "test_protection_period.py", "test_service_uncertainty.py"),
    *("test_surface_task.py", "test_watering.py", "test_wet_frost.py"),
    *("test_bare_top.py", "test_ground.py", "test_on_foot.py"),
    *("test_reasons.py", "test_room.py", "test_timer.py"),
    *("test_kill.py", "test_campaigns.py"),
}
"""Left to `make test`, unless a change calls for them by name: each takes some 5 to 45 s of processor time.

Of that length `test_plan.py` alone is left in: it asks of the schedule as a whole what any module may spoil.
"""


class Refusal(Exception):
    """Git does not answer: there is no such commit, or this is no clone."""


def git(*arguments: str) -> str:
    """Return what git prints.

    Raises:
        Refusal: It does not answer.
    """
    try:
        said = subprocess.run(["git", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    except OSError as fault:
        raise Refusal(f"git: {fault.strerror}") from None
    if said.returncode:
        raise Refusal(said.stderr.strip())
    return said.stdout


def changed(since: str | None) -> set[str]:
    """Return the paths that differ from a commit.

    Raises:
        Refusal: There is no such commit.
    """
    differ = git("diff", "--name-only", "-z", base_of(since), "--")
    return {*differ.split("\0"), *git("ls-files", "--others", "--exclude-standard", "-z").split("\0")} - {""}


def base_of(since: str | None) -> str:
    """Return the commit to compare with: the one that is named, else where this branch left origin/main."""
    if since is not None:
        return git("rev-parse", "--verify", "--end-of-options", f"{since}^{{commit}}").strip()
    try:
        return git("merge-base", "HEAD", "origin/main").strip()
    except Refusal:
        return "HEAD"  # there is no such branch here


def tests_of(path: str) -> set[str]:
    """Return the tests that a changed file calls for, as paths that may not be there."""
    file = PurePosixPath(path)
    if file.parts[0] == "tests":
        if file.name.startswith("test_"):
            return {path}
        return {str(file.parent)} if file.suffix == ".py" and path != "tests/conftest.py" else set()
    found = {test for start, tests in TESTS.items() if path.startswith(start) for test in tests}
    if file.parts[0] == "handover":
        found |= {f"tests/{file.parts[1]}", f"tests/{file.stem}"}
        found |= {each.relative_to(ROOT).as_posix() for each in ROOT.glob(f"tests/**/test_{file.stem}.py")}
    return found


def main(since: str | None) -> None:
    """Print the tests, one a line, and what is left out of a folder."""
    wanted = {test for path in changed(since) for test in tests_of(path)} | ALWAYS
    there = sorted(each for each in wanted if (ROOT / each).exists() and "benchmarks" not in each)
    folders = tuple(f"{each}/" for each in there if (ROOT / each).is_dir())
    print(*(each for each in there if not each.startswith(folders)), sep="\n")
    for file in sorted(ROOT.glob("tests/*/test_*.py")):
        path = file.relative_to(ROOT).as_posix()
        if file.name in LONG and path.startswith(folders) and path not in there:
            print(f"--ignore={path}")


if __name__ == "__main__":
    try:
        main(sys.argv[1] if len(sys.argv) > 1 else None)
    except Refusal as refusal:
        sys.exit(f"What has changed cannot be told. {refusal}")
