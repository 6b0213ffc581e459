"""Foreign text made safe to show: what a person, a file or a client wrote never moves a cursor, turns a line round or
begins one; it keeps every character that is one.
"""

from __future__ import annotations

import json
import unicodedata
from typing import Any

#: Control, format (direction marks among them), lone halves, line and paragraph separators.
_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def plain(text: object) -> str:
    """Text on one line: each character that a terminal might obey becomes a space."""
    said = str(text)
    if said.isascii() and said.isprintable():
        return said
    return "".join(" " if unicodedata.category(c) in _UNSAFE else c for c in said)


def plain_lines(text: object) -> str:
    """Text whose line breaks (`\\n`) are its own: each of its lines as `plain` makes it."""
    return "\n".join(map(plain, str(text).split("\n")))


def storable(text: str) -> str:
    """Text without lone halves of characters, which no file can hold: each becomes `?`."""
    return text.encode("utf-8", "replace").decode("utf-8")


def json_line(value: Any, **how: Any) -> str:
    """JSON in which every character that a terminal might obey is written as an escape; it reads back the same."""
    said = json.dumps(value, ensure_ascii=False, **how)
    if said.isascii() and (said.isprintable() or "\n" in said):
        return said
    return "".join(_escaped(c) if c != "\n" and unicodedata.category(c) in _UNSAFE else c for c in said)


def _escaped(c: str) -> str:
    return json.dumps(c)[1:-1]
