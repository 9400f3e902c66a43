"""What was found by digging: from tables, pages and programs into the store, and told."""
