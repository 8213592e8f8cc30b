"""`python -m wayside`: the same as the command `wayside`."""

from __future__ import annotations

import sys

from wayside.cli import main

sys.exit(main())
