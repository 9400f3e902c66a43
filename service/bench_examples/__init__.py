"""Worked scripts on the researcher's bench, each for one question; a test runs them."""
