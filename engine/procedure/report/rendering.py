"""Problems rendered: for a person (full, line), for programs (json, sarif), for CI (annotations); it finds none itself.

Columns count characters from 1, as everywhere in the program.
"""

from __future__ import annotations

import json
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from engine.procedure.source.problems import Problem, in_order
from engine.procedure.source.spans import Source, Span

FORMATS = ("full", "line", "json", "sarif", "annotations")
#: The width of a rendered problem: it fits the narrowest terminal.
WIDTH = 80

#: What is said of a file without a problem, and what no proof of a file can say.
SOUND = (
    "Sound: every step can be reached, every way ends, and no answer is left without a way on.\n"
    "Not proved, since only you know it: that each way, limit, direction and severity is the one that you meant.\n"
)

#: What is said of kits without a problem: a kit has no steps to prove.
KITS_SOUND = "Sound: every declaration holds by itself. What a file makes of them is proved with the file.\n"
_LEVEL = {"error": "error", "warning": "warning", "note": "note"}


def render(
    problems: Iterable[Problem], sources: Mapping[str, Source], format: str, proved: bool = True, kits: bool = False
) -> str:
    """The problems in one of `FORMATS`. `sources` are the texts by path; `proved` is false where errors of loading
    kept the proofs from being made, `kits` true where only kits were checked. Raises ValueError for an unknown
    format."""
    found = in_order(problems)
    if format == "full":
        return KITS_SOUND if kits and not found else full(found, sources, proved)
    if format == "line":
        return "".join(f"{p}\n" for p in found)
    if format == "json":
        return json.dumps(as_json(found, proved), ensure_ascii=False, indent=2) + "\n"
    if format == "sarif":
        return json.dumps(as_sarif(found), ensure_ascii=False, indent=2) + "\n"
    if format == "annotations":
        return "".join(_annotation(p) for p in found)
    raise ValueError(f"there is no format '{format}'; there are {', '.join(FORMATS)}")


# ---- for a person


def full(problems: Sequence[Problem], sources: Mapping[str, Source], proved: bool = True) -> str:
    """Each problem with its line, what is wrong, why it matters and how to mend it; a count at the end."""
    parts = [_frame(p, sources.get(p.path)) for p in problems]
    parts.append(summary(problems, proved))
    return "\n".join(parts)


#: The words at the left of a problem's card, one column wide.
_LABEL = 7


def _frame(p: Problem, source: Source | None) -> str:
    """A problem as a card: what is wrong, then a labelled line for each thing that is to be known of it."""
    lines = _labelled(p.severity, p.message)
    lines += _labelled("where", f"{p.path}:{p.span.line}:{p.span.column}", cut=False)
    shown = _line(source, p.span, WIDTH - _LABEL - 2)
    if shown is not None:
        lines += [f"{'line':>{_LABEL}}  {shown[0]}".rstrip(), f"{'':>{_LABEL}}  {shown[1]}"]
    told = (("case", p.witness), ("why", why(p)), ("mend", p.hint), ("write", "" if p.fix is None else f"`{p.fix}`"))
    for label, words in told:
        if words and words not in p.message:
            lines += _labelled(label, words)
    lines += _labelled("code", p.code)
    return "\n".join(lines) + "\n"


def _labelled(label: str, text: str, cut: bool = True) -> list[str]:
    head = f"{label:>{_LABEL}}  "
    return _wrapped(head, text, len(head)) if cut else [head + text]


def why(p: Problem) -> str:
    """Why a problem matters at the engine: its own words, or those of its page."""
    if p.why:
        return p.why
    from engine.procedure.report.pages.by_code import page

    found = page(p.code)
    return found.why if found else ""


def _wrapped(head: str, text: str, indent: int) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=head, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    ) or [head.rstrip()]


def _line(source: Source | None, span: Span, room: int) -> tuple[str, str] | None:
    """The line of a span, cut to `room` columns, and what underlines it; None where there is no such line."""
    if source is None:
        return None
    lines = source.text.split("\n")
    if not 1 <= span.line <= len(lines):
        return None
    text = lines[span.line - 1].replace("\t", " ")
    start = min(span.column - 1, len(text))
    end = min(span.end_column - 1, len(text)) if span.end_line == span.line else len(text)
    end = max(end, start + 1)
    # No line is shown beyond `room`, and what is not shown is never measured: a text may have 40,000 signs.
    whole = len(text) <= room and _wide(text) <= room
    offset = 0 if whole else max(0, start - room // 4)
    seen = text[offset : offset + room]
    start, end = start - offset, end - offset
    taken = _wide(seen)
    while taken > room:
        taken -= _wide(seen[-1])
        seen = seen[:-1]
    end = max(min(end, len(seen)), start + 1)
    seen = "…" + seen[1:] if offset and start else seen
    return seen, " " * _wide(seen[:start]) + "~" * max(_wide(seen[start:end]), 1)


def _wide(text: str) -> int:
    """How many columns of a terminal a text takes."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def summary(problems: Sequence[Problem], proved: bool = True) -> str:
    """One line that counts, and says so where the proofs are still to be made."""
    errors = sum(p.severity == "error" for p in problems)
    rest = len(problems) - errors
    if not problems:
        return SOUND
    counts = [_count(errors, "error")] if errors else ["No error"]
    if rest:
        counts.append(_count(rest, "warning"))
    said = " and ".join(counts) + "." + (" `evendraw explain CODE` says more about each." if problems else "")
    if not proved:
        said += "\nWays, branches and limits were not proved yet: mend the errors first, then check again."
    return said + "\n"


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


# ---- for programs


def as_json(problems: Sequence[Problem], proved: bool = True) -> dict[str, Any]:
    """Problems as plain data: `problems`, `errors`, `warnings`, `proved`; spans with end just past the last
    character."""
    return {
        "errors": sum(p.severity == "error" for p in problems),
        "warnings": sum(p.severity != "error" for p in problems),
        "proved": proved,
        "problems": [
            {
                "code": p.code,
                "severity": p.severity,
                "file": p.path,
                "line": p.span.line,
                "column": p.span.column,
                "end_line": p.span.end_line,
                "end_column": p.span.end_column,
                "message": p.message,
                "why": why(p),
                "hint": p.hint,
                "witness": p.witness,
                "fix": p.fix,
            }
            for p in problems
        ],
    }


def as_sarif(problems: Sequence[Problem]) -> dict[str, Any]:
    """Problems as a SARIF 2.1.0 log (OASIS standard), one run, a rule for each code that occurs."""
    from engine.procedure.report.pages.by_code import page

    codes = sorted({p.code for p in problems})
    rules = []
    for code in codes:
        found = page(code)
        rule: dict[str, Any] = {"id": code}
        if found is not None:
            rule |= {
                "shortDescription": {"text": found.title},
                "fullDescription": {"text": found.means},
                "help": {"text": f"{found.means}\n\n{found.mend}"},
            }
        rules.append(rule)
    return {
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "evendraw", "rules": rules}},
                "columnKind": "unicodeCodePoints",
                "results": [_sarif_result(p, codes) for p in problems],
            }
        ],
    }


def _sarif_result(p: Problem, codes: Sequence[str]) -> dict[str, Any]:
    region = {
        "startLine": p.span.line,
        "startColumn": p.span.column,
        "endLine": p.span.end_line,
        "endColumn": max(p.span.end_column, p.span.column),
    }
    place = {"artifactLocation": {"uri": uri(p.path)}, "region": region}
    case = f"Case: {p.witness}." if p.witness and p.witness not in p.message else ""
    result: dict[str, Any] = {
        "ruleId": p.code,
        "ruleIndex": codes.index(p.code),
        "level": _LEVEL[p.severity],
        "message": {"text": " ".join(x for x in (p.message, case, why(p), p.hint) if x)},
        "locations": [{"physicalLocation": place}],
    }
    if p.fix is not None:
        result["fixes"] = [
            {
                "description": {"text": p.hint or f"Write `{p.fix}`."},
                "artifactChanges": [
                    {
                        "artifactLocation": {"uri": uri(p.path)},
                        "replacements": [{"deletedRegion": region, "insertedContent": {"text": p.fix}}],
                    }
                ],
            }
        ]
    return result


def uri(path: str) -> str:
    """A path as a URI reference: relative ones stay relative."""
    pure = PurePath(path)
    try:
        return pure.as_uri() if pure.is_absolute() else quote(pure.as_posix())
    except ValueError:
        return quote(path)


def _annotation(p: Problem) -> str:
    """A workflow command, as CI runners read it from a job's output."""
    level = "error" if p.severity == "error" else "warning" if p.severity == "warning" else "notice"
    at = {
        "file": p.path,
        "line": p.span.line,
        "endLine": p.span.end_line,
        "col": p.span.column,
        "endColumn": p.span.end_column,
        "title": p.code,
    }
    fields = ",".join(f"{k}={_escaped(str(v), True)}" for k, v in at.items())
    return f"::{level} {fields}::{_escaped(' '.join(x for x in (p.message, p.hint) if x))}\n"


def _escaped(text: str, field: bool = False) -> str:
    text = text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")
    return text.replace(":", "%3A").replace(",", "%2C") if field else text
