"""Pages that can be printed."""
