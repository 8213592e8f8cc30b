"""The tests of the journal share a show in virtual time that stands beside them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
