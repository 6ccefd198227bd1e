"""The words of a schedule for one reader: each part words one subject, over one `Reader`."""
