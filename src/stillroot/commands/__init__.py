"""The command line's commands, and what they share."""
