"""Measures against the truth of drawn clips: ``python3 -m tests.held_back FOLDER``."""
