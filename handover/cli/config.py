"""The command that prints the settings."""

from __future__ import annotations

from handover.base.text import for_terminal
from handover.cli.option_values import config_of
from handover.cli.output import print_cautions, table

TYPE_CHECKING = False
if TYPE_CHECKING:
    from handover.cli.options import Options


def config(options: Options) -> None:
    """Print each setting, its value and where the value comes from."""
    import json
    import os

    from handover.service.config import describe_settings
    from handover.service.config_sources import misspelt_variables

    settings = config_of(options)
    rows = describe_settings(settings)
    print_cautions(misspelt_variables(os.environ, settings))
    if options.json:
        print("\n".join(json.dumps(row.as_json()) for row in rows))
        return
    there = "" if settings.file.exists() else ", which does not exist"
    print(f"The settings file is {for_terminal(settings.file)}{there}.\n")
    heads = ("Setting", "Value", "From", "What it is")
    print("\n".join(table(heads, [(row.key, row.value_text, row.origin, row.about) for row in rows])))
