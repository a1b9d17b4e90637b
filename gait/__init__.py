"""From film of a walking cow to a transparent 1-5 locomotion score and the herd's lame list."""

__version__ = "0.1.0"
