"""A script for the lowest versions: import every module, issue every sample. `make lowest` runs it."""

from __future__ import annotations

import importlib
import io
import pkgutil
import sys
import tempfile
import tomllib
from contextlib import redirect_stderr, redirect_stdout
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

NEEDS_A_MIGRATION_AT_WORK = (
    "handover.archive.catalog.migrations.env",
    "handover.service.desk.migrations.env",
)


def modules() -> list[str]:
    """Return the names of all modules of the package."""
    import handover  # noqa: PLC0415 - found by the path above

    found = [each.name for each in pkgutil.walk_packages(handover.__path__, "handover.")]
    return [name for name in found if name not in NEEDS_A_MIGRATION_AT_WORK]


def issue(sample: Path, folder: Path) -> None:
    """Issue a sample, an hour after its finishing or its last concrete, and look whether it is there."""
    from handover.cli import main  # noqa: PLC0415 - found by the path above

    placement = tomllib.loads((sample / "job.toml").read_text(encoding="utf-8"))["placement"]
    as_of = placement.get("finished", placement["end"]) + timedelta(hours=1)
    (weather,) = sample.glob("weather.*")
    arguments = ("issue", sample / "job.toml", "-w", weather, "--as-of", as_of, "-o", folder)
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        status = main([str(each) for each in arguments])
    if status != 0:
        raise SystemExit(f"{sample.name} could not be issued:\n{said.getvalue()}")
    for name in ("care-sheet.pdf", "crew-sheet.pdf", "data-sheet.pdf"):
        if not (folder / name).read_bytes().startswith(b"%PDF"):
            raise SystemExit(f"{sample.name}: {name} is no PDF")


def run() -> None:
    """Do all of it; an error ends it."""
    from handover.service import pdf_workers  # noqa: PLC0415 - found by the path above

    names = modules()
    for name in (*names, "distributed", "psycopg"):
        importlib.import_module(name)
    samples = sorted(each.parent for each in (ROOT / "sample_jobs").glob("*/job.toml"))
    with tempfile.TemporaryDirectory() as folder:
        for each in samples:
            issue(each, Path(folder, each.name))
            pdf_workers.core_count = lambda: 1  # the first tried processes; each set loads the engine anew
    sys.stderr.write(f"The lowest versions: {len(names)} modules imported, {len(samples)} samples issued.\n")


if __name__ == "__main__":
    run()
