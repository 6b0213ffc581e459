"""What makes a file hard to follow, as warnings: long instructions, two actions in one, names that nothing uses."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from engine.procedure.check.guards.study import Study, guards_in, guards_of
from engine.procedure.language.expr import And, Arith, Call, Compare, Name, Node, Not, Or
from engine.procedure.program import Call as FileCall
from engine.procedure.program import Procedure, Step, Template
from engine.procedure.source.problems import Problem, nearest

#: The most characters of an instruction that fit the card of an 80 x 24 screen beside readings and bank.
LONGEST = 300
#: Sources that say nothing.
EMPTY_SOURCES = frozenset({"", "-", "?", "none", "unknown", "todo", "tbd", "n/a"})

_THEN = re.compile(r"[.;]\s+(?:Then|Next|After that|Afterwards|Now)\b|\band then\b", re.IGNORECASE)

#: How an instruction speaks of the moves that stand beside it.
_SHOWN = re.compile(r"\b(?:as|where it is|where they are|to what is) shown\b", re.IGNORECASE)


def problems(study: Study) -> Iterator[Problem]:
    """Every warning of style."""
    for step in study.procedure.steps.values():
        yield from _words(study, step)
    yield from _unused(study)
    yield from sources_said(study.procedure)


def sources_said(procedure: Procedure) -> Iterator[Problem]:
    """Settings that don't say where their numbers come from."""
    for setting in procedure.settings.values():
        if setting.source.strip().lower() in EMPTY_SOURCES:
            yield Problem(
                "no-source",
                procedure.source.path,
                setting.span,
                f"The setting '{setting.name}' does not say where its number comes from.",
                "A technician can't tell a maker's figure from a guess.",
                'Say `source: common practice`, `source: "from memory: ..."`, or name the sheet.',
                "warning",
            )


def _words(study: Study, step: Step) -> Iterator[Problem]:
    do = step.do
    if do is None:
        return
    if len(do.text) > LONGEST:
        yield Problem(
            "long-instruction",
            study.path,
            do.span,
            f"The instruction of '{step.name}' has {len(do.text)} characters; {LONGEST} fit the card.",
            "The end of it is not seen without scrolling, with oily hands.",
            "Split the step, or move the reason to `why` and remarks to `note`.",
            "warning",
        )
    elif _SHOWN.search(do.text) and not (step.moves or step.fit or step.make or step.silent):
        yield Problem(
            "nothing-shown",
            study.path,
            do.span,
            f"The instruction of '{step.name}' speaks of what is shown, and the step turns and fits nothing.",
            "Nothing is shown, and the technician looks for it.",
            "Add `moves`, `fit` or `make`, or say it otherwise.",
            "warning",
        )
    elif _THEN.search(do.text) and not step.silent:
        match = _THEN.search(do.text)
        word = match.group().strip(".; ") if match else "then"
        yield Problem(
            "two-actions",
            study.path,
            do.span,
            f"The instruction of '{step.name}' asks for one thing after another (\"{word}\").",
            "A technician who looks away after the first forgets the second.",
            "Make it two steps.",
            "warning",
        )


def _unused(study: Study) -> Iterator[Problem]:
    procedure = study.procedure
    used = used_names(procedure)
    taken = {r.reading for s in procedure.steps.values() for r in s.read}
    for name, reading in procedure.readings.items():
        if name not in taken and not reading.span.path:
            yield _warn(
                study,
                "unused-name",
                reading.span,
                f"The reading '{name}' is never taken.",
                "Nobody is ever asked for it.",
                "Read it in a step, or delete it.",
            )
        elif name not in used and reading.quantity == "other" and not _recorded(procedure, name):
            yield _warn(
                study,
                "unused-reading",
                reading.span,
                f"The reading '{name}' is taken and nothing uses it.",
                "The technician takes it for nothing.",
                "Branch on it, bind it to an adviser, record it, or delete it.",
            )
    yield from _kept_for_nothing(study, used)
    yield from _called_for_nothing(study, used)
    tables: dict[str, Mapping[str, Any]] = {
        "fact": procedure.facts,
        "setting": procedure.settings,
        "parameter": procedure.parameters,
        "value": procedure.values,
        "screw": procedure.screws,
    }
    for what, table in tables.items():
        for name, entry in table.items():
            if name not in used and not entry.span.path:  # a kit may hold more than one file needs
                yield _warn(
                    study,
                    "unused-name",
                    entry.span,
                    f"Nothing uses the {what} '{name}'.",
                    "It only makes the file longer.",
                    "Use it, or delete it.",
                )


def _kept_for_nothing(study: Study, used: set[str]) -> Iterator[Problem]:
    """Values that are kept and never looked at: most likely a name that was misspelt where it is kept."""
    kept = {name: step for step in study.procedure.steps.values() for name, _ in step.keep}
    for name, step in kept.items():
        if name in used:
            continue
        close = nearest(name, (used & kept.keys()) | _unknown(study, used), 0.75)
        yield Problem(
            "kept-for-nothing",
            study.path,
            step.spans.get("keep", step.span),
            f"'{step.name}' keeps `{name}`, and nothing looks at it.",
            "If the name is misspelt, what it should say is never said.",
            f"Did you mean `{close}`?" if close else "Use it, or delete it.",
            "error" if close else "warning",
        )


def _called_for_nothing(study: Study, used: set[str]) -> Iterator[Problem]:
    """Names that calls give to what comes back, and that no expression looks into."""
    looked_into = {n.partition(".")[0] for n in used if "." in n}
    told: set[str] = set()
    for step in study.procedure.steps.values():
        way = step.way
        if isinstance(way, FileCall) and way.name and way.name not in looked_into | told:
            told.add(way.name)
            yield _warn(
                study,
                "unused-name",
                step.spans.get("as", way.span),
                f"Nothing looks at what '{way.file}' gives back as '{way.name}'.",
                "Perhaps it was to be branched on, and is not.",
                f"Use `{way.name}.` and what the file gives, or delete `as`.",
            )


def _unknown(study: Study, used: set[str]) -> set[str]:
    """Names that are looked at and that no table of the file declares: kept somewhere, or nowhere."""
    procedure = study.procedure
    declared = {*procedure.facts, *procedure.settings, *procedure.readings, *procedure.values, *procedure.screws}
    return {n for n in used if "." not in n} - declared


def _warn(study: Study, code: str, span: object, message: str, why: str, hint: str) -> Problem:
    return Problem(code, study.path, span, message, why, hint, "warning")  # type: ignore[arg-type]


def _recorded(procedure: Procedure, name: str) -> bool:
    """A reading that a step takes for the record is used by the sheet."""
    return any(s.record and any(r.reading == name for r in s.read) for s in procedure.steps.values())


def used_names(procedure: Procedure) -> set[str]:
    """Every name that an expression, a text, a move, an adviser or a table of a file mentions."""
    used: set[str] = set()
    for guard in guards_of(procedure):
        used |= _names(guard.node)
    for value in procedure.values.values():
        used -= {value.name} if not _mentioned(procedure, value.name) else set()
    for setting in procedure.settings.values():
        used |= {setting.by} if setting.by else set()
    for step in procedure.steps.values():
        used |= {m.screw for m in step.moves}
        used |= {b.target for a in step.advise for b in a.bindings.values() if b.guard is None}
        for text in texts_of(step):
            for guard in guards_in(text):
                used |= _names(guard.node)
    used |= {r.position_of for r in procedure.readings.values() if r.position_of}
    return used


def _mentioned(procedure: Procedure, name: str) -> bool:
    return any(name in _names(g.node) for g in guards_of(procedure))


def texts_of(step: Step) -> Iterator[Template | None]:
    """Every text of a step that may hold names."""
    yield from (step.caution, step.do, step.why, step.hear, step.note)
    findings = [*step.findings]
    if isinstance(step.way, tuple):
        findings += [f for b in step.way for f in b.findings]
    elif not isinstance(step.way, str | FileCall):
        yield step.way.say
    for finding in (*findings, *([step.on_stop] if step.on_stop else ())):
        yield finding.say
        yield finding.do


def _names(node: Node) -> set[str]:
    match node:
        case Name():
            return {node.name}
        case And() | Or() | Compare():
            return set().union(*(_names(i) for i in node.items))
        case Not():
            return _names(node.item)
        case Arith():
            return _names(node.left) | _names(node.right)
        case Call():
            return _names(node.argument)
    return set()
