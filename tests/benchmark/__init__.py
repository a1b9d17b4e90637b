"""Speed and memory, measured on request and never in a test: ``python3 -m tests.benchmark``."""
