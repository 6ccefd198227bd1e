"""The index of an archive: which jobs there are, found by word, date and state. The bags are the truth.

tables     the tables
words      texts as words, the same for every database
search     full-text search of the database in use: FTS5 of SQLite, tsvector of PostgreSQL
query      what is looked for
opening    engine, pragmas, migrations
catalog    writing and finding
migrations/  the schema, step by step
"""

from handover.archive.catalog.catalog import Catalog
from handover.archive.catalog.query import DueTask, JobState, Query, SearchResult, states_of

__all__ = ["Catalog", "DueTask", "JobState", "Query", "SearchResult", "states_of"]
