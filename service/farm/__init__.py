"""The farm file: read and checked, put into the store, written back from it."""
