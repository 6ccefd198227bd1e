"""The states of a job in words. It imports nothing, because the command line offers them as choices."""

STATE_WORDS = {
    "curing": "curing",
    "frost-ahead": "frost risk ahead",
    "walkthrough-open": "walk-through open",
    "not-acknowledged": "not acknowledged",
    "cylinder-low": "cylinder below strength",
}
"""Each state of `handover.archive.catalog.JobState`, in words."""
