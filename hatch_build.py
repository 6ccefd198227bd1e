"""Generate the man page and the shell completions when a wheel is built, from the parser of the command line.

They go into the wheel as shared data. Only the build needs what is imported here. The output depends on no
clock and no terminal: the same source gives the same files.
"""

from __future__ import annotations

import os
import re
import sys
from argparse import _SubParsersAction
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

ROOT = Path(__file__).parent
sys.path.insert(0, str(ROOT))  # the parser needs none of the dependencies

if TYPE_CHECKING:
    from argparse import Action, ArgumentParser
    from collections.abc import Iterator

PLACES = {
    "handover.1": "share/man/man1/handover.1",
    "handover.bash": "share/bash-completion/completions/handover",
    "_handover": "share/zsh/site-functions/_handover",
    "handover.tcsh": "share/handover/completion.tcsh",
}
"""Where each file goes in an environment. tcsh has no folder that it looks in."""

ABOUT = "care sheet, calendars and watering plan for a new concrete slab"

FILES = {"FILE", "JOB", "PATH"}
FOLDERS = {"ARCHIVE", "DIR", "FOLDER", "JOB_OR_FOLDER", "OUT"}
"""What an argument of this name is completed with."""

BY_ID = {"handover forget"}
"""Commands whose job is an id, no file."""

SECTIONS = {
    "exit status": r"""
.TP
.B 0
Done.
.TP
.B 1
Something failed: a document, a download, a message, a check of the archive.
Or one of several records, folders, bags or jobs is at fault; the others were done.
.TP
.B 2
The input or the command line cannot be used. The message says where and how to mend it.
.PP
A run that fails leaves no half-written folder behind.
""",
    "files": r"""
.TP
.I ~/.config/handover/settings.toml
The settings, printed by
.BR "handover config" ,
or the file that
.B \-\-settings
names.
On macOS and Windows it is in the folder where the system keeps settings.
.TP
.I ~/.cache/handover/
Forecasts that have not expired.
.PP
.B handover issue
writes to its folder:
.TP
.IR care\-sheet.pdf ", " care\-page.html ", " owner.ics
What the owner does and when: on paper, on a phone, in a calendar.
.TP
.I crew.ics
The return visits of the crew.
.TP
.I data\-sheet.pdf
Each date with its rule, its source and its numbers, for the office.
.TP
.I message.eml
The message to the owner, ready to send.
.TP
.IR schedule.json ", " inputs/
The whole schedule for other programs, and what it was computed from.
""",
    "examples": r"""
.nf
handover new alder\-garage.toml
handover check alder\-garage.toml
handover issue alder\-garage.toml \-o alder\-garage
handover send \-\-dry\-run alder\-garage
handover archive alder\-garage \-\-to /srv/archive
handover due tomorrow \-\-in /srv/archive
.fi
""",
}


def environment() -> str:
    """Return the environment variables, one for each setting."""
    from handover.service.config import SETTINGS, default_text, variable_of
    from handover.service.config_sources import FILE_VARIABLE

    texts = {
        variable_of(name): f"{setting.about[0].upper()}{setting.about[1:]} ({default_text(name)})."
        for name, setting in SETTINGS.items()
    }
    texts[FILE_VARIABLE] = "The settings file, where the command line names none."
    texts["COLUMNS"] = "The width of what is printed, 40 to 100."
    return "\n".join(f".TP\n.B {name}\n{text}".replace("-", r"\-") for name, text in texts.items())


def parser() -> ArgumentParser:
    """Return the parser of the command line, as wide as a page whatever the terminal is."""
    from handover.cli.arguments import build_parser

    os.environ["COLUMNS"] = "80"
    return build_parser()


def commands(of: ArgumentParser) -> Iterator[ArgumentParser]:
    """Give the parser of each command."""
    for action in of._actions:  # noqa: SLF001 - argparse has no public way to list them
        if isinstance(action, _SubParsersAction):
            yield from action.choices.values()


def man_page() -> str:
    """Return the man page, in the macros of man(7)."""
    from argparse_manpage.manpage import Manpage

    from handover import __version__
    from handover.cli.arguments import EPILOG

    whole = parser()
    whole.epilog = None  # it would be called a comment
    for each in commands(whole):
        each.description = None  # the same as what stands above its usage
    page = Manpage(whole, format="single-commands-section")
    escape = page.mf.format_text
    page.mf.format_text = lambda text: re.sub(r"(?m)^(?=[.'])", r"\\&", escape(text))  # no macro, but text
    page.description = ABOUT
    page.source = f"handover {__version__}"
    page.manual = "User Commands"
    page.date = ""  # that of a build would differ from build to build
    page.add_section("environment", "=", environment())
    for heading, content in SECTIONS.items():
        page.add_section(heading, "=", content.strip("\n"))
    page.add_section("limits", "=", EPILOG.replace("-", r"\-"))
    return "\n".join(_laid_out(str(page))) + "\n"


def _laid_out(page: str) -> Iterator[str]:
    """Give the lines of a page: usages as they are, headings as paragraphs, space left to the macros."""
    usage = False
    for line in page.splitlines():
        if line.startswith("usage: "):
            usage = True
            yield from (".PP", ".nf", line.removeprefix("usage: "))
        elif usage and line.strip():
            yield f"    {line.strip()}"
        elif usage:
            usage = False
            yield ".fi"
        elif line in {"arguments:", "options:"}:
            yield from (".PP", line.capitalize())
        elif line.strip():
            yield line


def completion(shell: str) -> str:
    """Return the completion of the commands, their options, choices, files and folders for a shell."""
    import shtab

    whole = parser()
    for each in commands(whole):
        for action in each._actions:  # noqa: SLF001 - as above
            if each.prog not in BY_ID or action.option_strings:
                _complete(action)
    return shtab.complete(whole, shell)


def _complete(action: Action) -> None:
    import shtab

    if action.metavar in FILES:
        action.complete = shtab.FILE  # type: ignore[attr-defined]
    elif action.metavar in FOLDERS:
        action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]


def generated() -> dict[str, str]:
    """Return the content of each file by its name."""
    return {
        "handover.1": man_page(),
        "handover.bash": completion("bash"),
        "_handover": completion("zsh"),
        "handover.tcsh": completion("tcsh"),
    }


class ManualHook(BuildHookInterface):  # type: ignore[type-arg]
    """Adds the generated files to a wheel; an editable install goes without them."""

    _folder: Path | None = None

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Write the files to a temporary folder and name them as shared data."""
        if version == "editable":
            return
        self._folder = folder = Path(mkdtemp(prefix="handover-build-"))
        for name, content in generated().items():
            (folder / name).write_text(content, encoding="utf-8")
            build_data["shared_data"][str(folder / name)] = PLACES[name]

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:  # noqa: ARG002
        """Remove the temporary folder: the wheel has the files."""
        if self._folder is not None:
            rmtree(self._folder)
