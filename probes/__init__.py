"""Where temperatures come in: reading logger files, judging readings, daily means."""
