"""What is wrong with a procedure file, as data: a code in words, a place, a sentence; it renders nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import PurePath
from typing import Literal

from engine.procedure.source.spans import Span

Severity = Literal["error", "warning", "note"]

_RANK: dict[str, int] = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault at one place.

    `code` is stable and in words ("uncovered-reading"). `message` says what is wrong, `why` what it would do to the
    person at the work, `hint` how to mend it, `witness` a case that shows it ("gap = 0.6 L/min"). `fix`, where it is
    safe to give, is the text that would stand in place of the span.
    """

    code: str
    path: str
    span: Span
    message: str
    why: str = ""
    hint: str = ""
    severity: Severity = "error"
    witness: str = ""
    fix: str | None = None

    def __str__(self) -> str:
        """`file:line:column: code: message`, the shape that editors and shells know."""
        tail = f" {self.hint}" if self.hint else ""
        return f"{self.path}:{self.span.line}:{self.span.column}: {self.code}: {self.message}{tail}"


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Each problem once, by file, place, severity and code: the same faults always come in the same order."""
    return tuple(sorted(dict.fromkeys(map(_at_home, problems)), key=_key))


def _at_home(p: Problem) -> Problem:
    """A problem of what a file takes from a kit is told in the kit, where it is mended."""
    home = p.span.path
    if not home:
        return p
    used = "" if home == p.path else f" (as `{PurePath(p.path).stem}` uses it)"
    return replace(p, path=home, span=replace(p.span, path=""), message=f"{p.message}{used}")


def _key(p: Problem) -> tuple[object, ...]:
    return (p.path, p.span.line, p.span.column, _RANK[p.severity], p.code, p.message)


def nearest(name: str, known: Iterable[str], alike: float = 0.6) -> str | None:
    """The known name that `name` is most likely meant to be; None where none is so much `alike` (0 to 1)."""
    words = {k.lower(): k for k in known}
    close = get_close_matches(name.lower(), words, n=1, cutoff=alike)
    return words[close[0]] if close else None


def did_you_mean(name: str, known: Iterable[str], what: str = "") -> str:
    """A hint: the nearest known name, else the list where it is short, else nothing."""
    names = sorted(set(known))
    close = nearest(name, names)
    if close is not None:
        return f"Did you mean '{close}'?"
    if names and len(names) <= 8:
        return f"{what or 'Known'}: {', '.join(names)}."
    return ""
