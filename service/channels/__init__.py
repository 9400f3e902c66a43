"""The ways by which a message leaves, a module each; contract.py is what they all give."""
