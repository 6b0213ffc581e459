"""`evendraw explain CODE`: finds the page of a code, or a source's line, and sets it for a terminal; it checks none."""

from __future__ import annotations

import textwrap

from engine.procedure.report.pages.by_code import page, pages
from engine.procedure.report.rendering import WIDTH
from engine.procedure.source.problems import did_you_mean
from engine.vocabulary.sources import GRADES, sources


def explain(code: str) -> str:
    """A page as text, or a source by its number (`S24`). Raises KeyError with a sentence for an unknown code."""
    if (source := sources().get(code.upper())) is not None:
        return (
            "\n".join(
                [*_paragraph(f"{source.full}."), "", *_paragraph(f"Grade {source.grade}: {GRADES[source.grade]}.")]
            )
            + "\n"
        )
    found = page(code)
    if found is None:
        hint = did_you_mean(code, pages())
        raise KeyError(f"There is no code '{code}'. {hint or '`evendraw explain` without a code lists them all.'}")
    parts = [f"{found.code} ({found.severity})", found.title, ""]
    for words in (found.means, f"At the engine: {found.why}", f"Mend: {found.mend}"):
        parts += [*_paragraph(words), ""]
    if found.example:
        parts += ["A piece of a file that has it:", ""]
        parts += [f"    {line}".rstrip() for line in found.example.splitlines()]
    return "\n".join(parts).rstrip() + "\n"


def _paragraph(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False)


def listing() -> str:
    """Every code with its title, one a line."""
    width = max(len(code) for code in pages())
    return "".join(f"{code:<{width}}  {found.title}\n" for code, found in pages().items())


def run_explain(code: str | None) -> tuple[str, int]:
    """The text of `evendraw explain` and its exit code: 0, or 2 for an unknown code."""
    if code is None:
        return listing(), 0
    try:
        return explain(code), 0
    except KeyError as fault:
        return f"{fault.args[0]}\n", 2
