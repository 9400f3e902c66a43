"""Signs of a wrong clock in one delivery: each with its numbers and what to do.

They never change a value. Where nothing can be said, nothing is.
"""

from probes.clock_signs.signs import ClockFacts, find_clock_signs

__all__ = ["ClockFacts", "find_clock_signs"]
