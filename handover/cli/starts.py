"""The command before the pour: the hours at which it may begin, side by side."""

from __future__ import annotations

import sys

from handover.base.text import for_terminal
from handover.cli.option_values import (
    config_of,
    refuse_existing,
    require_engine,
    settings_of,
    time_of_issue,
    to_path,
    write_new,
)
from handover.cli.output import heading, print_cautions, table, wrap

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.cli.options import Options
    from handover.documents.words.starts import StartWording

LEAST_CELL = 9
"""Width of a column in which hours can be read."""


def starts(options: Options) -> None:
    """Compare the hours at which the pour may begin."""
    from handover.service.start_hours import (
        StartWindow,
        compare_start_hours,
        read_start_request,
        start_data,
        start_page,
        start_picture,
        start_words,
    )

    files = [name for name in (options.svg, options.pdf) if name is not None]
    for name in files:
        refuse_existing(name)
    if options.pdf is not None:
        require_engine()
    config, settings = config_of(options), settings_of(options)
    request = read_start_request(
        to_path(options.job),
        to_path(options.weather) if options.weather else None,
        time_of_issue(options),
        window=StartWindow(options.starts_from, options.starts_until, options.crew_hours),
        settings=settings,
        typical=config.typical,
        key=config.open_meteo_key,
    )
    compared = compare_start_hours(request, print_cautions)
    words = start_words(compared, settings)
    if options.pdf is not None:  # may fail, and then nothing is written
        page = start_page(words, settings)
        write_new(options.pdf, page)
    if options.svg is not None:
        write_new(options.svg, start_picture(words))
    if options.json:
        sys.stdout.write(start_data(compared).decode())
        return
    print("\n".join(_start_lines(words)))
    if files:
        print("\n" + "\n".join(f"In {for_terminal(name)}." for name in files))


def _start_lines(words: StartWording) -> Iterator[str]:
    """Yield the best two starts, the table of all, and how to read it."""
    yield from wrap(f"{words.title}: {words.site}", first="", indent="")
    yield from wrap(words.weather, first="", indent="")
    for title, sentences in words.verdict:
        yield from heading(for_terminal(title))
        for each in sentences:
            yield from wrap(each)
    yield ""
    yield from table(*words.table, LEAST_CELL)
    yield ""
    for each in (*words.notes, *words.limits):
        yield from wrap(each, first="", indent="  ")
