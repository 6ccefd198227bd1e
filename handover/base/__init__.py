"""What every layer may use: harmless text, files written whole, tables, arrays. It knows nothing of slabs."""
