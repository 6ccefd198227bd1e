"""Customer handover and cure-care documents for concrete slabs on ground."""

__version__ = "0.1.0"
