"""The samples are of the package beside them, which is found from the root of the project."""

import sys
from pathlib import Path

ROOT = str(Path(__file__).parents[2])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)
