"""``python -m render`` is the same as the command ``tercet``."""

import sys

from render.cli import main

if __name__ == "__main__":
    sys.exit(main())
