"""Full-text search of the database in use. Words are made by `words`, not by the database."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

from sqlalchemy import ARRAY, Text, cast, column, func, literal, select, table, text
from sqlalchemy.dialects.postgresql import TSQUERY

from handover.archive.catalog.tables import JOB

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import ColumnElement, Engine, Select


class TextSearch(Protocol):
    """The interface of the full-text search of a database."""

    def document(self, words: Sequence[str]) -> Any:
        """Return what is written into the column ``words``: a value, or an expression."""

    def numbers(
        self, words: Sequence[str], conditions: Sequence[ColumnElement[bool]]
    ) -> tuple[Select[Any], ColumnElement[int]]:
        """Return the numbers of the jobs in which all words occur, and of which the conditions hold.

        The second value is the column of the number, for further columns of the query.
        """

    def rebuild(self, engine: Engine) -> None:
        """Rebuild the index of words from the rows."""

    def vacuum(self, engine: Engine) -> None:
        """Erase deleted rows from the index and from unused pages."""


class Fts5:
    """Of SQLite: the table ``job_words``, whose content is the column ``words`` of ``job``."""

    _index = table("job_words", column("rowid"), column("job_words"))

    def document(self, words: Sequence[str]) -> str:
        """Return the words with spaces between, for the index to split there again."""
        return " ".join(words)

    def numbers(
        self, words: Sequence[str], conditions: Sequence[ColumnElement[bool]]
    ) -> tuple[Select[Any], ColumnElement[int]]:
        """Walk the index in the order of its row ids, which are the numbers of the jobs."""
        number = self._index.c.rowid
        query = " AND ".join(f'"{each}"' for each in words)
        found = select(number.label("number")).where(self._index.c.job_words.op("MATCH")(query))
        if conditions:  # "+ 0" keeps SQLite from searching the words again for each number of the list
            found = found.where((number + 0).in_(select(JOB.c.number).where(*conditions)))
        return found, number

    def rebuild(self, engine: Engine) -> None:
        """Let FTS5 read all rows again."""
        self._order(engine, "rebuild")

    def vacuum(self, engine: Engine) -> None:
        """Merge the index without deleted entries; rewrite the file; empty its log first.

        PRAGMA secure_delete would overwrite what falls free, but not what SQLite has moved within a page.
        """
        self._order(engine, "optimize")
        with engine.connect().execution_options(begin=None) as connection:
            connection.execute(text("VACUUM"))
            connection.execute(text("PRAGMA wal_checkpoint(TRUNCATE)"))

    def _order(self, engine: Engine, order: str) -> None:
        with engine.connect().execution_options(begin="IMMEDIATE") as connection, connection.begin():
            connection.execute(text("INSERT INTO job_words(job_words) VALUES (:order)"), {"order": order})


class TsVector:
    """Of PostgreSQL: the column ``words`` is a tsvector with an inverted index."""

    def document(self, words: Sequence[str]) -> ColumnElement[Any]:
        """Return the words as lexemes, unchanged by any parser."""
        return func.array_to_tsvector(cast(list(words), ARRAY(Text)))

    def numbers(
        self, words: Sequence[str], conditions: Sequence[ColumnElement[bool]]
    ) -> tuple[Select[Any], ColumnElement[int]]:
        """Match against the column."""
        query = " & ".join(f"'{each}'" for each in words)
        matches = JOB.c.words.op("@@")(cast(literal(query, Text), TSQUERY))
        return select(JOB.c.number).where(matches, *conditions), JOB.c.number

    def rebuild(self, engine: Engine) -> None:
        """Rebuild the inverted index."""
        with engine.begin() as connection:
            connection.execute(text("REINDEX INDEX job_words"))

    def vacuum(self, engine: Engine) -> None:
        """Free deleted rows for overwriting, and remove them from the index."""
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM (FREEZE) job"))


SEARCHES: dict[str, type[TextSearch]] = {"sqlite": Fts5, "postgresql": TsVector}
"""By the name that SQLAlchemy has for the kind of database."""
