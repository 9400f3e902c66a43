"""How a date was reached: what decided it, and the same in numbered sentences."""
