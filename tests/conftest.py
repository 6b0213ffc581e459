"""For all tests: property tests have no deadline, since a busy machine is no fault of the code; and what is compiled
once is compiled for every worker and every program that a test starts, also where Python is told to keep none of it."""

import os
import sys
from pathlib import Path

from hypothesis import settings

COMPILED = str(Path(__file__).parents[1] / ".pytest_cache" / "compiled")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix = COMPILED
sys.dont_write_bytecode = False

settings.register_profile("house", deadline=None)
settings.load_profile("house")
