"""``python -m gait.cli`` is the same as the command ``exitlane``."""

from gait.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
