"""How readings get in: from files, pushes, feeds and by hand, each reading once."""
