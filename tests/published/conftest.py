"""Every check here says what it is, with its source: else a number that was only kept would pass for a proof.

`library`: an independent library works it out. `table`: a published or printed figure, or the trade's own. `law`: a
law, a definition or geometry, worked by hand. `kept`: computed once and kept, so that a drift is seen; no proof.
"""

from __future__ import annotations

import pytest

KINDS = ("library", "table", "law", "kept")


def pytest_configure(config: pytest.Config) -> None:
    for kind in KINDS:
        config.addinivalue_line("markers", f"{kind}(source): what kind of check it is")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "published" in item.path.parts:
            said = [m for kind in KINDS for m in item.iter_markers(kind)]
            assert len(said) == 1 and said[0].args, f"{item.nodeid} does not say what kind of check it is"
