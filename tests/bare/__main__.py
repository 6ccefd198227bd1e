"""`python3 tests/bare [TRIAL...]`: the project's two commands on fresh Debians, as root, in minutes.

One line a step, with its time. What was printed is kept in out/bare/logs. Exit status 1 if a step failed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
from pathlib import Path

from machine import PROJECT, Failure, alone, pristine, remove, unpack
from trials import TRIALS, Steps

USUAL = [name for name in TRIALS if name != "tests"]


def main() -> int:
    """Run the trials that were asked for; return the exit status."""
    options = _options()
    if os.geteuid() or not shutil.which("debootstrap"):
        print("This needs root and debootstrap: sudo apt-get install -y debootstrap", file=sys.stderr)
        return 1
    # A request to end is an interrupt: what runs inside is killed, and its folder is removed.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with alone(options.folder):
            return _debians(options)
    except KeyboardInterrupt:
        return 130


def _debians(options: argparse.Namespace) -> int:
    """Run the trials on each Debian that was asked for; return the exit status."""
    failed = [
        name for release in options.release for name in _debian(release, options.trials, options.folder)
    ]
    print(f"{len(failed)} failed; logs in {options.folder / 'logs'}" if failed else "All went well.")
    return 1 if failed else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests/bare", description=__doc__)
    parser.add_argument(
        "trials", nargs="*", choices=[*TRIALS, []], metavar="TRIAL", help=f"of {', '.join(TRIALS)}"
    )
    parser.add_argument("--release", action="append", help="of Debian, by code name; may be repeated")
    parser.add_argument("--folder", type=Path, default=PROJECT / "out" / "bare", help="for machines and logs")
    options = parser.parse_args()
    options.trials = options.trials or USUAL
    options.release = options.release or ["bookworm", "trixie"]
    return options


def _debian(release: str, trials: list[str], folder: Path) -> list[str]:
    """Run the trials on one Debian; return the names of the steps that failed."""
    archive, steps = pristine(release, folder), Steps(release)
    for name in trials:
        root = folder / "machines" / f"{release}-{name}"
        try:
            TRIALS[name](unpack(archive, root, folder / "logs" / f"{release}-{name}.log"), steps)
        except Failure as failure:
            print(f"{release:<9} {name}: {failure}", flush=True)
            steps.failed.append(name)
        finally:
            remove(root)
    return steps.failed


if __name__ == "__main__":
    sys.exit(main())
