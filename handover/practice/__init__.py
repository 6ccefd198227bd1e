"""Rules of the trade as data, with their sources."""
