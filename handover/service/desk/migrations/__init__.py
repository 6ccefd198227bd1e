"""The schema of the desk, step by step."""
