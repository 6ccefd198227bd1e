"""Texts as words, the same for every database: "Café Ruíz, 12-A" is cafe, ruiz, 12, a."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handover.archive.entry import JobEntry

MIN_TOKEN, MAX_TOKEN = 3, 20
"""Letters of the shortest beginning by which a word is found, and of the longest that is looked at."""


def tokens(text: str) -> list[str]:
    """Return the words of a text, without accents and case."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(each for each in plain if not unicodedata.combining(each))
    return [each[:MAX_TOKEN] for each in re.findall(r"[^\W_]+", plain)]


def entry_tokens(entry: JobEntry) -> list[str]:
    """Return the words by which a job is found, and their beginnings, each once, in order.

    Beginnings are kept as words of their own: to look one up then costs no more than to look up a word,
    however many words begin with it.
    """
    texts = (entry.job, entry.owner, entry.street, entry.contractor, entry.mix, entry.supplier, entry.remarks)
    whole = tokens(" ".join(texts))
    return sorted({*whole, *(word[:length] for word in whole for length in range(MIN_TOKEN, len(word)))})
