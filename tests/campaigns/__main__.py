"""Run the campaigns for some minutes, or one case again.

    python tests/campaigns [--minutes 30] [--seed SEED] [--only NAME] [--case NUMBER]
    python tests/campaigns --long [--database postgresql] [--minutes 30] [--seed SEED]

The second is the long run of `long_run.py`; it has no cases to try again. The folder of each fault
stays in `out/campaigns/SEED`. Exit status 1 if there is a fault.
"""

from __future__ import annotations

import argparse
import faulthandler
import gc
import shutil
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import every_campaign  # noqa: F401 - registers them
from campaign import CAMPAIGNS, report, run, try_case
from long_run import LongRun, database, found_office

OUT = Path(__file__).parents[2] / "out" / "campaigns"


def main() -> int:
    """Run what the command line asks for; return the exit status."""
    parser = argparse.ArgumentParser(prog="python tests/campaigns", description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--only", action="append", choices=list(CAMPAIGNS))
    parser.add_argument("--case", type=int)
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--database", choices=["sqlite", "postgresql"], default="sqlite")
    wanted = parser.parse_args()
    faulthandler.enable()
    gc.set_threshold(200_000, 20, 100)
    chosen = [CAMPAIGNS[each] for each in wanted.only or CAMPAIGNS]
    folder = OUT / str(wanted.seed)
    if wanted.long:
        return long_run(folder / f"long-{wanted.database}", wanted)
    if wanted.case is not None:
        faults = [try_case(each, wanted.seed, wanted.case, folder) for each in chosen]
        print("\n".join(each.trace for each in faults if each) or "no fault")
        return int(any(faults))
    print(f"seed {wanted.seed}; faults are kept in {folder}", flush=True)
    end = time.monotonic() + 60 * wanted.minutes
    tallies = run(chosen, wanted.seed, folder, lambda _: time.monotonic() < end)
    print("\n".join(report(tallies, wanted.seed)))
    return int(any(each.faults for each in tallies.values()))


def long_run(folder: Path, wanted: argparse.Namespace) -> int:
    """Run writers on one office, and print the table; return the exit status."""
    print(f"seed {wanted.seed}; the office stays in {folder} if there is a fault", flush=True)
    with database(wanted.database) as catalog:
        run = LongRun(found_office(folder, catalog, wanted.minutes), wanted.seed)
        end = time.monotonic() + 60 * wanted.minutes
        run.run(lambda: time.monotonic() < end)
        print("\n".join(run.report()))
    if not run.faults:
        shutil.rmtree(folder)
    return int(bool(run.faults))


if __name__ == "__main__":
    sys.exit(main())
