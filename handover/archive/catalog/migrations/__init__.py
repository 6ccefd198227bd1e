"""The schema of the catalog, step by step."""
