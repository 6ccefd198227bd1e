"""The words of a schedule for one reader: one module for each subject, all with the same `Reader`."""
