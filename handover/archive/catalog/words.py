"""Texts as words, the same for every database: "Café Ruíz, 12-A" is cafe, ruiz, 12, a."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.archive.entry import Entry

LONGEST = 100
"""Longest word that is kept whole; for what is longer its beginning must do."""


def words(text: str) -> list[str]:
    """Return the words of a text, without accents and case."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(each for each in plain if not unicodedata.combining(each))
    return [each[:LONGEST] for each in re.findall(r"[^\W_]+", plain)]


def words_of(entry: Entry) -> list[str]:
    """Return the words by which a job is found, each once, in order."""
    texts = (entry.job, entry.owner, entry.street, entry.contractor, entry.mix, entry.supplier, entry.remarks)
    return sorted(set(words(" ".join(texts))))
