"""Charts: what they show, as rows; drawn, kept, and to point at."""
