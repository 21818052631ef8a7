"""Run as ``python -m mixcompare``."""

import sys

from mixcompare.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
