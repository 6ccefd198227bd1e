"""Exit status of a run."""

DONE, FAILED, UNUSABLE = 0, 1, 2
