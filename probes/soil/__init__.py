"""Heat in the soil: its waves, how fast it moves, and temperatures carried to other depths."""
