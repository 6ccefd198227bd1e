"""The words that one country of a language has for a thing: a table beside the texts of the language."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

from handover.documents.templating import search_path
from handover.documents.translations import Translations, load_translations, merge

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


@dataclass(frozen=True)
class LocalWords:
    """The words of one country: each of the language's own, and what stands in its place.

    Attributes:
        words: By the word or phrase of the language, in lower case.
    """

    words: Mapping[str, str]

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        phrases = sorted(self.words, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, phrases))})(?!\w)", re.IGNORECASE)

    def translate(self, text: str) -> str:
        """Return a text with the words of the country, the longest phrase first; a capital stays one."""
        return self._pattern.sub(self._replace, text) if self.words else text

    def translate_all(self, tree: Mapping[str, Any]) -> dict[str, Any]:
        """Return a tree of strings with the words of the country."""
        return {
            key: self.translate_all(value)
            if isinstance(value, dict)
            else self.translate(value)
            if isinstance(value, str)
            else value
            for key, value in tree.items()
        }

    def _replace(self, found: re.Match[str]) -> str:
        local = self.words[found[0].lower()]
        return local[0].upper() + local[1:] if found[0][0].isupper() else local


@lru_cache(maxsize=8)
def local_words(language: str, country: str | None, templates: Path | None = None) -> LocalWords:
    """Return the words of a country; none where the language is written there as everywhere."""
    return LocalWords(_table(language, country, templates).get("words", {}))


@lru_cache(maxsize=8)
def local_translations(language: str, country: str | None, templates: Path | None = None) -> Translations:
    """Return the strings of a language as a country has them. Errors as `load_translations`."""
    own = load_translations(language, templates)
    table = _table(language, country, templates)
    if not table:
        return own
    tree = local_words(language, country, templates).translate_all(own.tree)
    return replace(own, tree=merge(tree, table.get("texts", {})))


def _table(language: str, country: str | None, templates: Path | None) -> dict[str, Any]:
    """Return what the file of a country has, the contractor's own if there is one; nothing without a file."""
    for folder in search_path(templates):
        file = folder / language / "countries" / f"{country}.toml"
        if file.is_file():
            return tomllib.loads(file.read_text(encoding="utf-8"))
    return {}
