"""Words and pictures from a finished schedule; nothing here computes."""
