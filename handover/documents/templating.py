"""The folders of texts, pages and strings that people read; a contractor's own files replace them."""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from handover.base.text import one_line
from handover.errors import Finding, UnusableInput

if TYPE_CHECKING:
    from jinja2 import Environment

TEXT_FILES = ("LC_MESSAGES/handover.po", "words.toml")
"""Files with a language's strings, in its folder; the second, easier to edit, overrides the first."""


@cache
def templates_folder() -> Path:
    """Return the folder of the program's templates: inside the wheel, else at the top of the clone."""
    package = Path(str(resources.files("handover")))
    installed = package / "_templates"
    return installed if installed.is_dir() else package.parent / "templates"


def search_path(templates: Path | None = None) -> tuple[Path, ...]:
    """Return the search path, the contractor's own folder first."""
    builtin = templates_folder()
    if templates is None:
        return (builtin,)
    if not templates.is_dir():
        raise UnusableInput([Finding(problem="there is no such folder of templates", file=str(templates))])
    return (templates, builtin)


def languages(templates: Path | None = None) -> tuple[str, ...]:
    """Return the languages with a catalog of strings, in order of their codes."""
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


def fill_text(name: str, templates: Path | None = None, **values: object) -> str:
    """Return the text of a template file like `read_text`, with its values filled in."""
    text = read_text(name, templates)
    asks = "{%" in text or "{{" in text  # most ask for nothing, and need not be compiled
    return environment(templates).get_template(name).render(values) if asks else text


@cache
def environment(templates: Path | None = None) -> Environment:
    """Return a Jinja2 environment that escapes everything and refuses undefined names.

    With a contractor's own folder it is a sandbox, which keeps no compiled pages: those of the program alone
    are compiled without its checks.
    """
    from jinja2 import ChoiceLoader, Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - heavy

    from handover.documents.compiled_templates import bytecode_cache  # noqa: PLC0415 - heavy

    if templates is not None:
        from handover.documents.template_sandbox import SandboxedPages  # noqa: PLC0415 - heavy

    made = (Environment if templates is None else SandboxedPages)(
        loader=ChoiceLoader([FileSystemLoader(folder) for folder in search_path(templates)]),
        bytecode_cache=bytecode_cache() if templates is None else None,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["phone"] = dial_number
    return made


@cache
def plain_environment(templates: Path | None = None) -> Environment:
    """Return that environment for plain text: nothing is escaped, and no value adds a line break."""
    return environment(templates).overlay(autoescape=False, finalize=lambda value: one_line(str(value)))


def dial_number(phone: str) -> str:
    """Return the digits of a phone number for a `tel:` link."""
    return "".join(char for char in phone if char.isdigit() or char == "+")
