"""What a file declares of the job and the shop, from model to program: layout, facts, settings, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import cast

from engine.procedure.build.facts import NoFact, fact_type
from engine.procedure.build.making import Maker
from engine.procedure.language import ranges
from engine.procedure.language.expr import Type
from engine.procedure.language.resolve import range_of
from engine.procedure.model.file import (
    CautionPart,
    CountsPart,
    FactPart,
    ForPart,
    ParameterPart,
    SettingPart,
    TablePart,
)
from engine.procedure.program import Caution, Fact, Layout, Parameter, Setting, SignalWord
from engine.procedure.source.problems import did_you_mean
from engine.procedure.source.spans import NOWHERE, Span
from engine.procedure.source.tree import Scalar
from engine.quantity.units import UNITS, convert, parse_quantity, to_base
from engine.vocabulary.vocabulary import mixture_screw_name

#: More bodies or barrels than any bank has.
MOST_CARBS, MOST_BARRELS = 12, 4
HOLDS, HOLDS_NOT = "holds", "holds_not"
#: Kinds of mixture screws may be declared, so that no table can have them all: these it must have.
KIND_OF_SCREW, FIRST_KINDS = "bank.mixture_screw", frozenset({"short taper", "long taper", "air screw", "jet nut"})


def layout(make: Maker, part: ForPart | None) -> Layout:
    """Which banks the file is for; anything, where that has a fault."""
    if part is None:
        return Layout((), (1, MOST_CARBS), (1, MOST_BARRELS))
    families = () if "any" in part.family else tuple(str(f) for f in part.family)
    before = len(make.problems)
    carbs, barrels = _counts(make, part.carbs, MOST_CARBS), _counts(make, part.barrels_per_carb, MOST_BARRELS)
    sound = len(make.problems) == before and not any(part.lost(k) for k in ("family", "carbs", "barrels_per_carb"))
    return Layout(families, carbs, barrels, part.span if sound else NOWHERE)


def _counts(make: Maker, part: CountsPart | None, most: int) -> tuple[int, int]:
    if part is None:
        return 1, 1
    low, high = int(part.low), int(part.high)
    if not 1 <= low <= high <= most:
        said = f"From {low} to {high}" if low != high else f"`{low}`"
        make.fault("bad-range", part.span, f"{said} is no count of 1 to {most}.")
        return 1, most
    return low, high


def fact(make: Maker, name: str, part: FactPart, bank: Layout) -> Fact | None:
    """A fact, its type from the job model or as declared here."""
    if any(part.lost(k) for k in ("choices", "unit", "range", "yes_no", "default")):
        return None
    found = (
        _declared(make, part)
        if (part.choices or part.unit is not None or part.range or part.yes_no)
        else (_inferred(make, part))
    )
    if found is None:
        return None
    kind, default = found
    if part.path == "bank.carbs":
        kind = _narrow(kind, bank.carbs)
    if part.path == "bank.barrels_per_carb":
        kind = _narrow(kind, bank.barrels_per_carb)
    if part.default is not None:
        default = _default(make, part.default, kind)
    return Fact(str(name), str(part.path), kind, default, part.span)


def _narrow(kind: Type, counts: tuple[int, int]) -> Type:
    return Type("number", low=Fraction(counts[0]), high=Fraction(counts[1]), whole=kind.whole)


def _inferred(make: Maker, part: FactPart) -> tuple[Type, object] | None:
    try:
        return fact_type(part.path, make.vocabulary)
    except NoFact as fault:
        section, _, rest = part.path.partition(".")
        if section == "instruments" and rest.isidentifier() and not fault.hint:
            return Type("bool"), False  # every instrument is a yes or no, and a shop may name further ones
        hint = fault.hint or "Say what it is: `choices`, `unit` and `range`, or `yes_no: true`."
        make.fault("unknown-fact", part.path.span, str(fault), hint)
        return None


def _declared(make: Maker, part: FactPart) -> tuple[Type, object] | None:
    """A fact that says what it can be: a field that the job model does not know, or some of what one can be."""
    given = _as_declared(make, part)
    try:
        known, silent = fact_type(part.path, make.vocabulary)
    except NoFact as fault:
        if fault.known:
            make.fault("unknown-fact", part.path.span, str(fault))
        return None if given is None or fault.known else (given, None)
    if given is None:
        return None
    fits = (given.kind, given.dimension) == (known.kind, known.dimension)
    if make.judged and (
        not fits
        or not set(given.choices) <= set(known.choices)
        or (given.kind == "number" and not ranges.within(range_of(given), range_of(known)))
    ):
        now = {w: mixture_screw_name(w) for w in given.choices if mixture_screw_name(w) in known.choices}
        called = " ".join(f"`{old}` is called `{new}`." for old, new in now.items() if old != new)
        make.fault(
            "unknown-fact",
            part.path.span,
            f"The job itself says what `{part.path}` can be, and not this.",
            f"{called} Write only the path, and a `default` if need be.".strip(),
        )
        return None
    # A file may be for some of what the job can say: a run refuses a job that says something else.
    kept = given.kind == "bool" or silent in given.choices or (given.kind == "number" and _lies_in(silent, given))
    return given, silent if kept else None


def _lies_in(value: object, kind: Type) -> bool:
    return isinstance(value, Fraction) and ranges.within((value, value), range_of(kind))


def _as_declared(make: Maker, part: FactPart | ParameterPart) -> Type | None:
    if part.yes_no:
        return Type("bool")
    if part.choices:
        return choices(make, part.choices, part.value_span("choices"))
    if part.unit is None or not part.range:
        make.fault("missing-key", part.head, "A number needs both `unit` and `range`.")
        return None
    pair = make.pair(part, "range", part.unit)
    return None if pair is None else _number_type(part.unit, pair)


def _number_type(unit: str, pair: tuple[Fraction, Fraction]) -> Type:
    return Type("number", UNITS[unit].dimension, str(unit) or None, *pair)


def choices(make: Maker, words: Sequence[Scalar], span: Span) -> Type | None:
    """The type of a choice of words."""
    if len(words) < 2 or len(set(words)) < len(words):
        make.fault("bad-choices", span, "Choices are two words or more, each once.")
        return None
    return Type("choice", choices=tuple(str(w) for w in words))


def _default(make: Maker, word: Scalar, kind: Type) -> object:
    if kind.kind == "bool":
        if word not in ("true", "false"):
            make.fault("wrong-kind", word.span, "The default is true or false here.")
        return word == "true"
    if kind.kind == "choice":
        if word not in kind.choices:
            make.fault(
                "unknown-choice",
                word.span,
                f"`{word}` is none of the choices.",
                did_you_mean(word, kind.choices, "It can be"),
            )
        return str(word)
    try:
        value, unit = parse_quantity(word, kind.unit or "")
        return to_base(convert(value, unit.name, kind.unit or ""), kind.unit or "")
    except ValueError as fault:
        make.fault("bad-number", word.span, f"{fault}.".replace("..", "."))
        return None


def setting(make: Maker, name: str, part: SettingPart | TablePart, facts: dict[str, Fact | None]) -> Setting | None:
    """A setting, single or a table by a fact."""
    if isinstance(part, SettingPart):
        value, unit = parse_quantity(part.value, "")
        kind = _setting_type(make, part, unit.name)
        if kind is None:
            return None
        base = to_base(value, unit)
        inside(make, part.value, base, kind)
        return Setting(str(name), kind, base, None, {}, str(part.source), part.span)
    return _table(make, name, part, facts)


def _setting_type(make: Maker, part: SettingPart | TablePart, unit: str) -> Type | None:
    pair = make.pair(part, "range", unit)
    return None if pair is None else _number_type(unit, pair)


def inside(make: Maker, text: Scalar, value: Fraction, kind: Type) -> None:
    """Note a number outside its own range."""
    assert kind.low is not None and kind.high is not None
    if not kind.low <= value <= kind.high:
        make.fault("out-of-range", text.span, f"`{text}` is outside its own range.", "Widen the range, or correct it.")


def _table(make: Maker, name: str, part: TablePart, facts: dict[str, Fact | None]) -> Setting | None:
    entries: dict[str, Scalar] = {k: v for k, v in (part.model_extra or {}).items() if isinstance(v, Scalar)}
    if part.by not in facts:
        make.fault("unknown-name", part.by.span, f"There is no fact `{part.by}`.", did_you_mean(part.by, facts))
        return None
    by = facts[part.by]
    if by is None or not entries:
        if by is not None:
            make.fault("incomplete-table", part.head, "The table has no entry.")
        return None
    if by.type.kind == "number":
        make.fault("wrong-kind", part.by.span, f"`{part.by}` is a number; a table goes by choices or a yes or no.")
        return None
    choices = (HOLDS, HOLDS_NOT) if by.type.kind == "bool" else by.type.choices
    unit = next((u.name for _, u in (parse_quantity(v, "") for v in entries.values()) if u.name), "")
    kind = _setting_type(make, part, unit)
    table: dict[str, Fraction] = {}
    for key, text in entries.items():
        value = make.number(text, unit, "the table")
        if key not in choices:
            make.fault(
                "unknown-choice",
                part.key_span(key),
                f"`{part.by}` is never `{key}`.",
                did_you_mean(key, choices, "It can be"),
            )
        elif value is not None:
            table[str(key)] = value
            if kind is not None:
                inside(make, text, value, kind)
    missing = [c for c in choices if c not in table and c not in entries and not part.lost(c)]
    later = [c for c in missing if by.path == KIND_OF_SCREW and c not in FIRST_KINDS]
    if later and missing == later:
        make.warn(
            "incomplete-table",
            part.by.span,
            f"The table has no entry for {', '.join(later)}: a job with one is refused.",
            "Add it, or name under `choices` of the fact the kinds that the file is for.",
        )
    elif missing:
        make.fault(
            "incomplete-table",
            part.by.span,
            f"The table has no entry for {', '.join(missing)}.",
            "Add one for every choice.",
        )
    return None if kind is None else Setting(str(name), kind, None, str(part.by), table, str(part.source), part.span)


def parameter(make: Maker, name: str, part: ParameterPart) -> Parameter | None:
    """What a caller hands over."""
    if any(part.lost(k) for k in ("choices", "unit", "range", "yes_no", "default")):
        return None
    given = [bool(part.choices), part.unit is not None or bool(part.range), part.yes_no is not None]
    if sum(given) != 1:
        make.fault(
            "several-keys" if any(given) else "missing-key",
            part.head,
            "A parameter is a number (`unit` and `range`), one of `choices`, or `yes_no: true`.",
        )
        return None
    kind = _as_declared(make, part)
    if kind is None:
        return None
    default = _default(make, part.default, kind) if part.default is not None else None
    if isinstance(default, Fraction) and part.default is not None:
        inside(make, part.default, default, kind)
    return Parameter(str(name), kind, default, part.span)


def caution(make: Maker, name: str, part: CautionPart) -> Caution:
    """A caution."""
    word = cast(SignalWord, str(part.word))
    return Caution(str(name), word, make.plain(part.text), tuple(str(d) for d in part.demanded_by), part.span)
