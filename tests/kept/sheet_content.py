"""What a printed job sheet says, apart from how it is laid out: one item for each line or sentence, in any order.

An item is a tuple of texts: (section, sentence), (section, table, place, before, after) or (section, label, text). Two
sheets say the same where they have the same items. How to go on when the sheet is laid out anew:

- a heading, a label or a word is another one: add it to `RENAMED`, old to new;
- a thing is no longer printed, for a reason: add its section to `DROPPED`, with the reason;
- the columns are others: write a second reader beside `columns_of` that gives the same items, and let `content_now` be
  it. `content_kept` stays: it reads what was printed then.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

Item = tuple[str, ...]
Content = Counter[Item]

#: What an older sheet calls it, and what it is called now.
RENAMED: dict[str, str] = {}
#: Sections of older sheets that are printed no more, with the reason.
DROPPED: dict[str, str] = {}

#: Rows whose figure as left stood empty though the program knew it, and is printed now.
FILLED = ("idle jet",)

_RULE = re.compile(r"-{40,}|={40,}")


def content_kept(text: str) -> Content:
    """The items of a kept sheet, in the words of today."""
    found = columns_of(text)
    return Counter(
        {tuple(_renamed(word) for word in item): count for item, count in found.items() if item[0] not in DROPPED}
    )


def missing(kept: Content, now: Content) -> Content:
    """What a sheet said and says no more. A figure as left that was left out is not missed where it is said now."""
    gone = kept - now
    filled = {item[:4] for item in now if len(item) == 5}
    for item in list(gone):
        if len(item) == 5 and item[4] == "-" and item[:4] in filled and any(word in item[1] for word in FILLED):
            del gone[item]
    return gone


def content_now(text: str) -> Content:
    """The items of a sheet as the program prints it now."""
    return columns_of(text)


def _renamed(text: str) -> str:
    for old, new in RENAMED.items():
        text = text.replace(old, new)
    return text


def columns_of(text: str) -> Content:
    """The items of a sheet of 80 columns: sections under a heading and a rule, tables of 40, 20 and 20 columns."""
    rows = text.splitlines()
    found: Content = Counter([("title", " ".join(rows[0].split()))])
    blank = rows.index("")
    for item in _labelled(rows[2:blank]):
        found[item] += 1
    body: list[str] = []
    sections = [("outcome", body)]
    for at, row in enumerate(rows[blank + 1 :], blank + 1):
        if _RULE.fullmatch(row):
            continue
        if at + 1 < len(rows) and _RULE.fullmatch(rows[at + 1]):
            body = []
            sections.append((row or "foot", body))
        elif row:
            body.append(row)
    for section, body in sections:
        table = bool(body) and body[0].startswith(" " * 40)
        for item in _table(body[1:]) if table else ((s,) for s in _sentences(body)):
            found[(section, *item)] += 1
    return found


def _labelled(rows: list[str]) -> Iterator[Item]:
    """Lines of a label in 14 columns and its text, which may run on."""
    found: list[list[str]] = []
    for row in rows:
        label, text = row[:14].strip(), row[14:].strip()
        if label:
            found.append(["head", label, text])
        else:
            found[-1][2] += f" {text}"
    yield from map(tuple, found)


def _sentences(rows: list[str]) -> Iterator[str]:
    """Texts that begin with a dash, a severity or the seal, and run on below; what is to do belongs to its finding."""
    found: list[str] = []
    for row in rows:
        begins = row.startswith(("- ", "Seal:", "Signed:")) or re.match(r"[A-Z ]+: ", row)
        if found and not begins:
            found[-1] += f" {row.strip()}"
        else:
            found.append(row.strip())
    yield from (" ".join(text.split()) for text in found)


def _table(rows: list[str]) -> Iterator[Item]:
    """Rows of (title, place, before, after); a title, or a long label, stands in lines of its own above."""
    title, fresh = "", True  # fresh: the next line of text begins a new title
    for row in rows:
        if len(row) == 80 and row[39:41].isspace() and row[60].isspace():
            label, was, now = row[:40], row[40:60].strip(), row[60:].strip()
            if label.startswith("  ") and label.strip():
                yield title, label.strip(), was, now
            else:
                yield label.strip() or title, "", was, now
            fresh = True
        else:
            title = row.strip() if fresh else f"{title} {row.strip()}"
            fresh = False
