"""Property tests draw the same cases on every run and are not timed: the machine may be busy."""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None, database=None, max_examples=60)
settings.load_profile("steady")
