"""The sources behind the trade's numbers: what an S-number means, and texts in which each says author and year.

The list is `sources.yaml` beside this file; it is read when a page first shows a source, and it judges none.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

#: What a grade says of a source.
GRADES: Mapping[str, str] = {
    "A": "law, an official body, a maker's manual or a standard",
    "B": "trade press or a textbook, quoted second-hand",
    "C": "a club article, a forum, a web guide",
}

_NUMBER = re.compile(r"\bS(\d{1,2})\b(?! \()")
_SPAN = re.compile(r"\bS(\d{1,2}) to S(\d{1,2})\b(?! \()")


@dataclass(frozen=True, slots=True)
class SourceEntry:
    """One source: `author` is a person or the body that published it, "not given" where it names none; `year` as it
    says, "seen 2026" where it says none; `grade` A official, B trade press, C club or forum."""

    number: str
    kind: str
    author: str
    title: str
    year: str
    grade: str

    @property
    def short(self) -> str:
        """Author and year, as a page names it behind the number: `Warneford, undated`; a source without an author is
        named by its kind."""
        return f"{self.kind if self.author == 'not given' else self.author}, {self.year}"

    @property
    def full(self) -> str:
        """The whole line: number, kind, author, title, year."""
        return f"{self.number} {self.kind}, author {self.author}: {self.title}, {self.year}"


@cache
def sources() -> Mapping[str, SourceEntry]:
    """Every source by its number, `S24`, in the order of the list."""
    from ruamel.yaml import YAML

    text = files("engine.vocabulary").joinpath("sources.yaml").read_text(encoding="utf-8")
    rows = YAML(typ="safe", pure=True).load(text)
    return {number: SourceEntry(number, **{k: str(v) for k, v in row.items()}) for number, row in rows.items()}


def numbers_in(text: str) -> list[str]:
    """The S-numbers that a text names, a span like `S40 to S43` in full; each once, in order."""
    found = re.sub(r"\bS(\d{1,2}) to S(\d{1,2})\b", lambda m: " ".join(_between(m)), text)
    return list(dict.fromkeys(re.findall(r"\bS\d{1,2}\b", found)))


def cited(text: str) -> str:
    """The same text, each S-number with author and year behind it; a number that is in no list stays as it is.

    >>> cited("published: S24, two turns down")
    'published: S24 (classic car mailing list, 1991), two turns down'
    """
    if not re.search(r"\bS\d{1,2}\b", text):
        return text
    told = _SPAN.sub(lambda m: f"{m[0]} ({'; '.join(_short(n) for n in _between(m))})", text)
    kept: list[str] = []

    def keep(m: re.Match[str]) -> str:
        kept.append(m[0])
        return f"\0{len(kept) - 1}\0"

    told = re.sub(r"\bS\d{1,2}(?: to S\d{1,2})? \([^)]*\)", keep, told)
    told = _NUMBER.sub(lambda m: f"{m[0]} ({_short(m[0])})" if m[0] in sources() else m[0], told)
    return re.sub("\0(\\d+)\0", lambda m: kept[int(m[1])], told)


def _between(span: re.Match[str]) -> list[str]:
    return [f"S{n}" for n in range(int(span[1]), int(span[2]) + 1)]


def _short(number: str) -> str:
    entry = sources().get(number)
    return number if entry is None else entry.short
