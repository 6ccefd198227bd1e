"""Where the texts, pages and strings that people read are kept; a contractor's own stand in for them."""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from jinja2 import Environment

TEXT_FILES = ("LC_MESSAGES/handover.po", "words.toml")
"""Files with a language's strings, in its folder; the second, easier by hand, is laid over the first."""


@cache
def templates_folder() -> Path:
    """Return the folder of our templates: inside the wheel, else at the top of the clone."""
    package = Path(str(resources.files("handover")))
    installed = package / "_templates"
    return installed if installed.is_dir() else package.parent / "templates"


def search_path(templates: Path | None = None) -> tuple[Path, ...]:
    """Return the folders to look in, the contractor's own first."""
    ours = templates_folder()
    if templates is None:
        return (ours,)
    if not templates.is_dir():
        raise UnusableInput([Finding(problem="there is no such folder of templates", file=str(templates))])
    return (templates, ours)


def languages(templates: Path | None = None) -> tuple[str, ...]:
    """Return the languages that have a catalog of words, in order of their codes."""
    found = {
        each.relative_to(folder).parts[0]
        for folder in search_path(templates)
        for name in TEXT_FILES
        for each in folder.glob(f"*/{name}")
    }
    return tuple(sorted(found))


def read_text(name: str, templates: Path | None = None) -> str:
    """Return the text of a template file, the contractor's own if there is one."""
    for folder in search_path(templates):
        file = folder / name
        if file.is_file():
            return file.read_text(encoding="utf-8")
    raise UnusableInput([Finding(problem="no such template", file=name)])


@cache
def environment(templates: Path | None = None) -> Environment:
    """Return a Jinja2 environment that escapes everything and forgives no misspelt name."""
    from jinja2 import ChoiceLoader, Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - heavy

    from handover.documents.compiled_templates import bytecode_cache  # noqa: PLC0415 - heavy

    made = Environment(
        loader=ChoiceLoader([FileSystemLoader(folder) for folder in search_path(templates)]),
        bytecode_cache=bytecode_cache(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["phone"] = dial_number
    return made


def dial_number(phone: str) -> str:
    """Return the digits of a phone number, as a link dials them."""
    return "".join(char for char in phone if char.isdigit() or char == "+")
