"""The use cases of the desk, without HTTP. Time and randomness come from the caller."""
