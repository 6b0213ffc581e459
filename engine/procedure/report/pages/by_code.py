"""The pages of all codes together; it writes none."""

from __future__ import annotations

from functools import cache

from engine.procedure.report.pages import Page


@cache
def pages() -> dict[str, Page]:
    """Every page by its code, in alphabetical order."""
    from engine.procedure.report.pages import branches, care, guards, names, paths, shape, sharing, work

    rooms = (shape, names, guards, branches, paths, care, sharing, work)
    every = (p for room in rooms for p in room.PAGES)
    return {p.code: p for p in sorted(every, key=lambda p: p.code)}


def page(code: str) -> Page | None:
    """The page of a code; None for a code that no check gives."""
    return pages().get(code)
