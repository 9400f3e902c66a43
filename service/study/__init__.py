"""Windows across places, depths, years and rule sets: from the store, or from an archive."""
