"""Answers in words: as text for a terminal, and as plain data for JSON. Nothing is computed."""
