"""Seasons compared: across places, depths, years and rule sets."""
