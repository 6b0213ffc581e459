"""The words of a file held against the vocabulary: what it declares beside the trade's own, and what nobody declared.

A word that nobody declared is an error with the nearest name. A run's stored texts are never held against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from engine.procedure.build.making import Maker
from engine.procedure.language.resolve import Scope
from engine.procedure.model.base import read_model
from engine.procedure.model.declares import DeclaresPart, NewQuantityPart, ScrewKindPart, StateKeyPart
from engine.procedure.model.file import ProcedurePart
from engine.procedure.source import files
from engine.procedure.source.problems import Problem, did_you_mean, nearest
from engine.procedure.source.spans import Source
from engine.procedure.source.tree import Scalar, read_tree
from engine.quantity.units import UNITS, convert, from_base
from engine.vocabulary.entries import Band, Family, Hazard, MixtureScrew, Quantity, StateKey
from engine.vocabulary.families import ANY
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

#: The file of a shop's folder that declares words for every procedure in it.
SHOP_FILE = "vocabulary"
#: A family less alike than this to a known one is a shop's own, not a slip.
_ALIKE = 0.75


def of_folders(folders: Iterable[Path]) -> tuple[Vocabulary, list[Problem]]:
    """The trade's vocabulary with what the `vocabulary.yaml` of each folder declares, the first folder last: it
    outranks the others. The problems are those of these files."""
    words, problems = SHIPPED, []
    seen = dict.fromkeys(folder / f"{SHOP_FILE}{files.SUFFIX}" for folder in folders)
    for path in reversed(seen):
        try:
            if not path.is_file():
                continue
        except (OSError, ValueError):
            continue
        source = files.read_source(path)
        if isinstance(source, Problem):
            problems.append(source)
            continue
        words, found = _from(source, words)
        problems += found
    return words, problems


def _from(source: Source, words: Vocabulary) -> tuple[Vocabulary, list[Problem]]:
    if not source.text.strip() or all(line.lstrip()[:1] in ("", "#") for line in source.text.splitlines()):
        return words, []  # nothing but remarks: nothing is declared yet
    tree, problems = read_tree(source)
    if tree is None:
        return words, problems
    part, faults = read_model(DeclaresPart, tree, source.path, {})
    make = Maker(source.path, Scope(lambda name: None, lambda: iter(()), {}, {}))
    words = declared(make, part, words)
    return words, [*problems, *faults, *make.problems]


def declared(make: Maker, part: DeclaresPart | None, words: Vocabulary) -> Vocabulary:
    """A vocabulary with what a file declares; what is wrong with that is noted."""
    if part is None:
        return words
    states = [_state(make, name, p) for name, p in part.states.items()]
    hazards = [Hazard(str(n), make.plain(p.about), tuple(str(t) for t in p.tools)) for n, p in part.hazards.items()]
    families = [Family(str(n), make.plain(p.about)) for n, p in part.families.items()]
    screws = [s for n, p in part.screws.items() if (s := _screw(make, n, p)) is not None]
    words = words.with_more(states, (), hazards, families, screws)
    return words.with_more(quantities=[_quantity(make, n, p, words) for n, p in part.quantities.items()])


def _state(make: Maker, name: Scalar, part: StateKeyPart) -> StateKey:
    choices = tuple(str(c) for c in part.choices)
    if len(set(choices)) < len(choices) or not choices:
        make.fault("bad-choices", part.value_span("choices"), "A state has a word or more, each once.")
    for word in part.dangers:
        if word not in choices:
            make.fault(
                "unknown-choice", word.span, f"`{word}` is none of the choices.", did_you_mean(word, choices, "Words")
            )
    return StateKey(str(name), choices, make.plain(part.about), {str(k): str(v) for k, v in part.dangers.items()})


def _quantity(make: Maker, name: Scalar, part: NewQuantityPart, words: Vocabulary) -> Quantity:
    unit = str(part.unit) if part.unit is not None else None
    pair = make.pair(part, "range", unit) if part.range and unit is not None else None
    low, high = (from_base(v, unit or "") for v in pair) if pair is not None else (None, None)
    if part.range and unit is None and not part.lost("unit"):
        make.fault("missing-key", part.key_span("range"), "A number needs its `unit` beside `range`.")
    needs = None
    for key, word in part.needs.items():
        if state_word(make, words, key, word):
            needs = (str(key), str(word))
    if len(part.needs) > 1:
        make.fault("several-keys", part.key_span("needs"), "A quantity needs one state at most.", "Keep one.")
    if part.hazard is not None:
        hazard(make, words, part.hazard)
    about = make.plain(part.about)
    return Quantity(str(name), unit, low, high, needs, str(part.hazard) if part.hazard else None, about)


def _screw(make: Maker, name: Scalar, part: ScrewKindPart) -> MixtureScrew | None:
    start = make.number(part.start, "turn", "a position")
    rest = make.pair(part, "rest", "turn")
    doubt = make.pair(part, "doubt", "turn") if part.doubt else rest
    if start is None or rest is None or doubt is None:
        return None
    if not doubt[0] <= rest[0] < rest[1] <= doubt[1]:
        make.fault("bad-range", part.key_span("doubt"), "The limits of doubt lie around where the screw rests.")
    if not rest[0] <= start <= rest[1]:
        make.fault("out-of-range", part.start.span, "The screw would start where its jet is judged wrong.")
    out = str(part.out)
    band = Band(start, rest, doubt, "large" if out == "richer" else "small")
    return MixtureScrew(str(name), out, band, "turn", make.plain(part.about), str(part.source))  # type: ignore[arg-type]


# ---- what nobody declared


def judge(make: Maker, part: ProcedurePart, words: Vocabulary, advised: Iterable[str] = ()) -> None:
    """Note every word of a file that nobody declared. `advised`: quantities that advisers are known to take."""
    if part.layout is not None:
        for family in part.layout.family:
            _family(make, words, family)
    for step in part.steps.values():
        for key, word in step.state.items():
            state_word(make, words, key, word)
        for name in step.hazards:
            hazard(make, words, name)
    for reading in part.readings.values():
        if reading.quantity is not None:
            _measured(make, words, reading, set(advised))
    tools = {str(t) for t in part.needs} | set(words.dangerous_tools)
    for caution in part.cautions.values():
        for demand in caution.demanded_by:
            _demand(make, words, demand, tools)


def _family(make: Maker, words: Vocabulary, name: Scalar) -> None:
    if name == ANY or name in words.families:
        return
    close = nearest(name, words.families, _ALIKE)
    if close is not None:
        make.fault("unknown-family", name.span, f"`{name}` is no family of banks.", f"Did you mean '{close}'?", close)
        return
    # A file for a family of its own says so by this key alone, as shops' files always did.
    make.warn(
        "unknown-family",
        name.span,
        f"Nobody declares the family `{name}`.",
        f"Add `declares: {{families: {{{name}: what it is}}}}`.",
    )


def state_word(make: Maker, words: Vocabulary, key: Scalar, word: Scalar) -> bool:
    """Whether a state's key and word are known; noted where they are not."""
    known = words.states.get(key)
    if known is None:
        hint = did_you_mean(key, words.states, "Known") or "Declare it under `declares`, `states`."
        make.fault("unknown-word", key.span, f"Nobody declares the state `{key}`.", hint)
        return False
    if word in known.choices or known.unit is not None:
        return True
    close = nearest(word, known.choices)
    hint = f"Did you mean '{close}'?" if close else f"It can be {', '.join(known.choices)}."
    make.fault("unknown-word", word.span, f"`{key}` is never `{word}`.", hint, close)
    return False


def hazard(make: Maker, words: Vocabulary, name: Scalar) -> None:
    """Note a hazard that nobody declared."""
    said = " ".join(name.split())
    if said not in words.hazards:
        hint = did_you_mean(said, words.hazards, "Known hazards are") or "Declare it under `declares`, `hazards`."
        make.fault("unknown-hazard", name.span, f"Nobody declares the hazard `{said}`.", hint)


def _demand(make: Maker, words: Vocabulary, demand: Scalar, tools: set[str]) -> None:
    """A caution is demanded by a state, a hazard or a tool."""
    said = " ".join(demand.split())
    if said in words.hazards or said in tools:
        return
    key, colon, word = said.partition(": ")
    known = words.states.get(key)
    if colon and known is not None and word in known.choices:
        return
    states = [f"{s.name}: {w}" for s in words.states.values() for w in s.choices]
    hint = did_you_mean(said, [*words.hazards, *tools, *states]) or "Declare it, or add the tool to `needs`."
    what = "state" if colon else "hazard or tool"
    make.fault("unknown-hazard", demand.span, f"Nobody declares the {what} `{said}`.", hint)


def _measured(make: Maker, words: Vocabulary, part: Any, advised: set[str]) -> None:
    """A reading's quantity is known, and the reading can be one."""
    name: Scalar = part.quantity
    known = words.quantities.get(" ".join(name.split()))
    if known is None:
        if name not in advised:
            hint = did_you_mean(name, {*words.quantities, *advised}, "Known")
            hint = hint or "Declare it under `declares`, `quantities`, or write `other`."
            make.fault("unknown-quantity", name.span, f"Nobody declares the quantity `{name}`.", hint)
        return
    if known.unit is None or part.unit is None:
        return
    unit, wanted = UNITS[str(part.unit)], UNITS[known.unit]
    if unit.dimension != wanted.dimension:
        make.fault(
            "unit-mismatch",
            part.unit.span,
            f"{known.name.capitalize()} is measured in {known.unit or 'plain numbers'}, not in {unit.name or 'one'}.",
            f"Take another quantity, or `unit: {known.unit}`." if known.unit else 'Take another, or `unit: ""`.',
        )
        return
    if known.low is None or known.high is None or len(part.range) != 2:
        return
    pair = make.pair(part, "range", str(part.unit))
    limits = tuple(convert(v, known.unit, unit.name) for v in (known.low, known.high))
    if pair is not None and not _within(tuple(from_base(v, unit) for v in pair), limits):
        make.warn(
            "range-beyond-quantity",
            part.value_span("range"),
            f"No {known.name} is outside {float(limits[0]):g} to {float(limits[1]):g} {unit.name}.".replace(" .", "."),
            "A slip of the finger would be taken for a reading: narrow the range.",
        )


def _within(pair: Sequence[Fraction], limits: Sequence[Fraction]) -> bool:
    return limits[0] <= pair[0] and pair[1] <= limits[1]
