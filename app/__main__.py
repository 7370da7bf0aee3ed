"""`python -m app` does what the command `evenhand` does."""

import sys

from app.cli import main

if __name__ == "__main__":
    sys.exit(main())
