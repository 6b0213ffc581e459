"""No number that decides something in a shipped file drifts unseen: they are kept in `numbers.yaml`.

A kept number proves nothing; that the trade's numbers are right is checked in `tests/published`.
"""

from __future__ import annotations

import pytest

from tests.engine.shipped.numbers import kept, now

NOW, KEPT = now(), kept()


@pytest.mark.parametrize("name", sorted({*NOW, *KEPT}))
def test_the_numbers_of_a_file_are_those_that_were_kept(name: str) -> None:
    """Meant otherwise: `python -m tests.engine.shipped.numbers` writes them down anew; read what changed."""
    assert NOW.get(name, {}) == KEPT.get(name, {})
