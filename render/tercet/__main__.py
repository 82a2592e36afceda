"""``python -m tercet`` is the same as the command ``tercet``."""

import sys

from tercet.cli import main

if __name__ == "__main__":
    sys.exit(main())
