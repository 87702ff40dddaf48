"""Tool-centre paths: leads, entries, passes, bridges."""
