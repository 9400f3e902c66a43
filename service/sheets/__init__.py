"""What is printed: the sheet for the clipboard."""
