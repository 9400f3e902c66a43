"""Mails that come back: read from a folder, matched by their Message-ID, noted and told."""
