"""What public feeds answer, read: text and JSON in, readings out; no network here."""
