"""What is printed: the sheet for the clipboard, a lot, the order of blocks and the crew days."""
