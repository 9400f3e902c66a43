"""A region-wide advisory: its figures, and its words for members and coordinators."""
