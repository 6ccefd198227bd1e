"""The reader of documents: language, units and texts, shared by all modules of this package."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from handover.documents.date_phrases import DateFormatter
from handover.documents.local_words import local_translations, local_words
from handover.documents.translations import Translations, load_translations

if TYPE_CHECKING:
    from pathlib import Path

    from babel.core import Locale

    from handover.documents.quantity_format import Units


@dataclass(frozen=True)
class Reader:
    """One reader of documents.

    Attributes:
        language: A language that has a folder of templates.
        units: "us" or "si".
        templates: A contractor's folder whose files replace those of the program.
        translations: The strings of the language.
        country: Of the site, for numbers, the names of units and the words of the trade; None: not known.
        has_number: Whether there is a telephone to call; without one, strings that say so have a variant.
    """

    language: str
    units: Units
    templates: Path | None
    translations: Translations
    has_number: bool = True
    country: str | None = None

    @classmethod
    def load(cls, language: str, units: Units, templates: Path | None = None) -> Reader:
        """Return the reader of a language with its strings loaded.

        Raises:
            UnusableInput: No such language.
        """
        return cls(language, units, templates, load_translations(language, templates))

    @cached_property
    def number_locale(self) -> Locale:
        """The locale of numbers and units: that of the country of the site, where there is one."""
        return self.translations.locale_in(self.country)

    @cached_property
    def words(self) -> Translations:
        """The strings of the language as the country of the site has them."""
        return local_translations(self.language, self.country, self.templates)

    def local(self, text: str) -> str:
        """Return a text of the language with the words of the country of the site."""
        return local_words(self.language, self.country, self.templates).translate(text)

    @cached_property
    def speak(self) -> DateFormatter:
        """Dates, times and lengths of time in the language."""
        return DateFormatter(self.words)

    def say(self, key: str, /, **values: object) -> str:
        """Return the string under a dotted key, filled in.

        Raises:
            MissingText: The language has no such string.
        """
        if not self.has_number and self.has(f"{key}--no-number"):
            key = f"{key}--no-number"
        return self.words.say(key, **values)

    def has(self, key: str) -> bool:
        """Return whether the language has a string with a dotted key."""
        return self.words.has(key)
