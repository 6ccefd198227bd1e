"""The command for several slabs of one site."""

from __future__ import annotations

from handover.cli.job import set_lines
from handover.cli.option_values import config_of, limits_of, now, require_engine, to_path
from handover.cli.output import print_cautions

TYPE_CHECKING = False
if TYPE_CHECKING:
    from datetime import datetime

    from handover.cli.options import Options


def join(options: Options) -> None:
    """Write the joined papers of several slabs of one site and owner."""
    from handover.service.pdf_workers import pdf_workers

    # They load the PDF engine while the rest is imported and read.
    with pdf_workers(limits_of(options)) as workers:
        from handover.service.joining import join_to_folder
        from handover.service.settings import Settings

        require_engine()
        config = config_of(options)
        settings = Settings(
            languages=config.language, units=config.units, paper=config.paper, templates=config.templates
        )
        sets = [to_path(each) for each in options.sets]
        joined = join_to_folder(sets, to_path(options.output), _time(options), settings, workers)
        print_cautions(joined.findings)
        print("\n".join(set_lines(joined.project, options.output, [*joined.files], joined.first)))


def _time(options: Options) -> datetime:
    """Return the time of issue; without an offset from UTC on the clock of the site."""
    if options.as_of is None:
        return now()
    from handover.service.time_of_issue import read_time_of_issue

    records = sorted((to_path(options.sets[0]) / "inputs").glob("*.toml"))
    return read_time_of_issue(options.as_of, records[0] if records else None)
