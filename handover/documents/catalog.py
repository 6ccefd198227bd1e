"""The strings of one language: looked up by a dotted key, filled in, never guessed."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from handover.documents.templating import languages, search_path
from handover.errors import Finding, HandoverError, UnusableInput

if TYPE_CHECKING:
    from pathlib import Path

Tree = dict[str, Any]


class MissingWords(HandoverError, LookupError):
    """A language has no words for a key; the message names both."""


@dataclass(frozen=True)
class Catalog:
    """The strings of one language."""

    language: str
    tree: Tree

    def find(self, key: str) -> Any:
        """Return what stands under a dotted key: a string, a list or a table.

        Raises:
            MissingWords: Nothing stands there.
        """
        node: Any = self.tree
        for step in key.split("."):
            if not isinstance(node, dict) or step not in node:
                raise MissingWords(f'language "{self.language}" has no words for "{key}"')
            node = node[step]
        return node

    def has(self, key: str) -> bool:
        """Tell whether something stands under a dotted key."""
        try:
            self.find(key)
        except MissingWords:
            return False
        return True

    def say(self, key: str, /, **values: object) -> str:
        """Return the string under a dotted key with its {names} filled in.

        Raises:
            MissingWords: There is no such string, or it asks for a name that was not given.
        """
        pattern = self.find(key)
        if not isinstance(pattern, str):
            raise MissingWords(f'language "{self.language}": "{key}" is not a string')
        try:
            return pattern.format(**values)
        except KeyError as missing:
            raise MissingWords(f'language "{self.language}": "{key}" asks for {missing}') from None


def slug(text: str) -> str:
    """Return a name of the job record as a key of the catalog: "soaker hose" is "soaker-hose"."""
    return text.replace(" ", "-")


def merged(ours: Tree, theirs: Tree) -> Tree:
    """Return our strings with the contractor's laid over them."""
    both = dict(ours)
    for key, value in theirs.items():
        below = both.get(key)
        both[key] = merged(below, value) if isinstance(below, dict) and isinstance(value, dict) else value
    return both


@lru_cache(maxsize=8)
def catalog(language: str, templates: Path | None = None) -> Catalog:
    """Return the strings of a language, a contractor's own laid over ours.

    Raises:
        UnusableInput: There is no such language.
    """
    known = languages(templates)
    if language not in known:
        finding = Finding(
            problem=f'there are no words in the language "{language}"',
            field="language",
            expected=", ".join(known),
        )
        raise UnusableInput([finding])
    tree: Tree = {}
    for folder in reversed(search_path(templates)):
        file = folder / language / "words.toml"
        if file.is_file():
            tree = merged(tree, tomllib.loads(file.read_text(encoding="utf-8")))
    return Catalog(language, tree)
