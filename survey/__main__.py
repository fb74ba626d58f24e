"""``python -m athwart`` is the command ``athwart``."""
from __future__ import annotations

import sys

from .district.command import main

if __name__ == "__main__":
    sys.exit(main())
