"""Slips of the hand that YAML has no word for: unquoted braces, a colon without its space; it sees text, no tree."""

from __future__ import annotations

import re

from engine.procedure.source.spans import Span

#: What goes into texts: `{height}`, `{height:mm}`, `{next.verdict}`.
_PLACE = re.compile(r"\{\s*[^\W\d]\w*(?:\.[^\W\d]\w*)?\s*(?::[^{},:]*)?\}")
_NO_SPACE = re.compile(r"\s*(?:- )?\{?([^\W\d][\w-]*):(?=[^\s/:])")
#: How many lines above the place where a parser gives up are looked at: it may notice late.
_ABOVE = 3


def slip(lines: list[str], line: int, column: int) -> tuple[Span, str, str] | None:
    """The slip that most likely made YAML give up at a line and column (from 1): its place, message and hint."""
    for at in range(line, max(line - _ABOVE, 0), -1):
        text = lines[at - 1] if at <= len(lines) else ""
        plain = _without_quoted(text)
        for match in _PLACE.finditer(plain):
            before, after = plain[: match.start()].rstrip(), plain[match.end() :].strip()
            begins = before.endswith((":", "-", ",", "{", "["))
            if (at < line or match.start() < column) and (not begins or after[:1] not in ("", ",", "}", "]")):
                return (
                    Span(at, match.start() + 1, at, match.end() + 1),
                    f"`{match.group()}` stands in a text that has no quotes.",
                    "Put the whole text in quotes, from its first word to its last.",
                )
        stuck = _NO_SPACE.match(plain)
        if stuck and (at < line or stuck.end() <= column):
            return (
                Span(at, stuck.start(1) + 1, at, stuck.end() + 1),
                f"A space is missing after `{stuck.group(1)}:`.",
                f"Write `{stuck.group(1)}: {plain[stuck.end() :].strip()[:30]}`.",
            )
    return None


def glued(key: str) -> str | None:
    """What a key that was glued to its value should be, `when: x > 3` for `when:x > 3`; None for any other key."""
    match = _NO_SPACE.match(key)
    return f"{match.group(1)}: {key[match.end() :]}" if match else None


def _without_quoted(text: str) -> str:
    """The line with what stands in quotes, or behind a `#`, blanked."""
    text = re.sub(r"""(?<![\w])("(?:[^"\\]|\\.)*"|'(?:[^']|'')*')""", lambda m: " " * len(m.group()), text)
    return re.sub(r"(^|\s)#.*", lambda m: " " * len(m.group()), text)
