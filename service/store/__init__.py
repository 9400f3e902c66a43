"""What the service keeps: tables, and small functions that take a connection."""
