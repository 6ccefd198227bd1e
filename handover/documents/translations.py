"""The strings of one language, looked up by a dotted key and filled in; a missing one is an error."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cached_property, lru_cache
from io import StringIO
from typing import TYPE_CHECKING, Any

from babel.core import Locale, UnknownLocaleError
from babel.messages.pofile import PoFileError, read_po

from handover.documents.templating import TEXT_FILES, languages, search_path
from handover.errors import Finding, HandoverError, UnusableInput

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

TextTree = dict[str, Any]


class MissingText(HandoverError, LookupError):
    """A language has no string for a key; the message names both."""


@dataclass(frozen=True)
class Translations:
    """The strings of one language."""

    language: str
    tree: TextTree

    @cached_property
    def locale(self) -> Locale:
        """Return the locale for names of days, numbers and units."""
        return Locale.parse(str(self.lookup("locale")))

    def locale_in(self, country: str | None) -> Locale:
        """Return the locale for numbers and units in a country: "litres" and "1.000" where they write so."""
        if country is None or country in str(self.lookup("locale-home")).split():
            return self.locale
        abroad = str(self.lookup("locale-abroad"))
        try:
            return Locale.parse(f"{self.locale.language}_{country}" if abroad == "by country" else abroad)
        except (UnknownLocaleError, ValueError):
            return self.locale

    def lookup(self, key: str) -> Any:
        """Return the value of a dotted key: a string, a list or a table.

        Raises:
            MissingText: There is no such key.
        """
        node: Any = self.tree
        for step in key.split("."):
            if not isinstance(node, dict) or step not in node:
                raise MissingText(f'language "{self.language}" has no words for "{key}"')
            node = node[step]
        return node

    def has(self, key: str) -> bool:
        """Return whether a dotted key exists."""
        try:
            self.lookup(key)
        except MissingText:
            return False
        return True

    def say(self, key: str, /, **values: object) -> str:
        """Return the string of a dotted key with its {names} filled in.

        Raises:
            MissingText: There is no such string, or a name that it uses is missing.
        """
        pattern = self.lookup(key)
        if not isinstance(pattern, str):
            raise MissingText(f'language "{self.language}": "{key}" is not a string')
        try:
            return _ended_once(pattern, values).format(**values)
        except KeyError as missing:
            raise MissingText(f'language "{self.language}": "{key}" asks for {missing}') from None


def _ended_once(pattern: str, values: Mapping[str, object]) -> str:
    """Return a pattern without the full stops after values that end with one: "9:00 p.m." ends a sentence."""
    for name, value in values.items():
        if isinstance(value, str) and value.endswith("."):
            pattern = pattern.replace(f"{{{name}}}.", f"{{{name}}}")
    return pattern


def slug(text: str) -> str:
    """Return a name in the job record as a key of the catalog: "soaker hose" is "soaker-hose"."""
    return text.replace(" ", "-")


def merge(builtin: TextTree, own: TextTree) -> TextTree:
    """Return the program's strings, overridden by the contractor's."""
    both = dict(builtin)
    for key, value in own.items():
        below = both.get(key)
        both[key] = merge(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return both


@lru_cache(maxsize=8)
def load_translations(language: str, templates: Path | None = None) -> Translations:
    """Return the strings of a language; a contractor's own override the program's.

    Raises:
        UnusableInput: There is no such language.
    """
    known = languages(templates)
    if language not in known:
        finding = Finding(
            problem=f'there are no texts in the language "{language}"',
            field="language",
            expected=", ".join(known),
        )
        raise UnusableInput([finding])
    tree: TextTree = {}
    for folder in reversed(search_path(templates)):
        for name in TEXT_FILES:
            file = folder / language / name
            if file.is_file():
                tree = merge(tree, read_texts(file))
    return Translations(language, tree)


def read_texts(file: Path) -> TextTree:
    """Return the strings of one file as a tree of keys: a gettext catalog, or TOML.

    In a gettext catalog the msgid is the dotted key, "milestone.seal.title", and not the English string: the
    same English words may need other translations elsewhere. Entries without translation are left out.

    Raises:
        UnusableInput: The file does not have the format of its name.
    """
    try:
        text = file.read_text(encoding="utf-8")
        return tomllib.loads(text) if file.suffix == ".toml" else _gettext(text)
    except (PoFileError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise UnusableInput([Finding(problem=f"cannot be read: {fault}", file=str(file))]) from None


def _gettext(text: str) -> TextTree:
    tree: TextTree = {}
    for message in read_po(StringIO(text), abort_invalid=True):
        if message.id and message.string:
            put_text(tree, str(message.id), str(message.string))
    return tree


def put_text(tree: TextTree, key: str, value: str) -> None:
    """Add a string to a tree, by its dotted key."""
    *above, last = key.split(".")
    for step in above:
        tree = tree.setdefault(step, {})
    tree[last] = value
