"""From the store to digging: where, in which order, on which days, and what it showed."""
