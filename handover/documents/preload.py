"""Loads the PDF engine on import, for worker processes: each PDF finds all of it loaded.

If a system library is missing, nothing happens here: the first PDF reports it.
"""

import gc
from contextlib import suppress
from importlib import import_module

from handover.documents import pdf_structure  # noqa: F401
from handover.documents.engine import load_engine
from handover.errors import HandoverError

LATE = ("fontTools.subset", "fontTools.ttLib.tables._n_a_m_e", "fontTools.ttLib.tables.otTables")
"""Modules that the engine imports only at its first PDF."""

gc.disable()  # what is imported stays, and the searches for garbage take an eighth of the time

with suppress(HandoverError):
    load_engine()
    for name in LATE:
        with suppress(ImportError):
            import_module(name)
