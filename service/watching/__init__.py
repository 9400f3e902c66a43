"""Watching Digseason itself: its figures, its log, and who is told when something is wrong."""
