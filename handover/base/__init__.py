"""What every layer may use: harmless text, names of files, files written whole, tables, arrays. No domain."""
