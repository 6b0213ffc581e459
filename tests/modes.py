"""Whether the modes of files bind this user, tried out: who may do everything anyway learns nothing by them."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest


def _bind() -> bool:
    if os.name == "nt":
        return False
    with tempfile.TemporaryDirectory() as folder:
        shut = Path(folder) / "shut"
        shut.touch(mode=0)
        return not os.access(shut, os.R_OK)


BOUND = pytest.mark.skipif(not _bind(), reason="needs a user whom file modes bind")
