"""What keeps and serves it all: settings, farm file, store, rounds, command line, web."""
