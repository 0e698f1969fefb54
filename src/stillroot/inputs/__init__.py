"""The inputs: the case file, its sections, its materials, and the messages on bad input."""
