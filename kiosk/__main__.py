"""`python -m kiosk` is the same as `holder-kiosk`."""

import sys

from kiosk.cli import main

if __name__ == "__main__":
    sys.exit(main())
