"""The chain from a case to its answer, in numbers and in words."""
