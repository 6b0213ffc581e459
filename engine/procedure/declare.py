"""The declarations of a file, from model to program: layout, facts, settings, screws, readings; it makes no steps."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from engine.procedure.expr import Type
from engine.procedure.facts import NoFact, fact_type
from engine.procedure.making import Maker, Want
from engine.procedure.model import (
    CautionPart,
    CountsPart,
    FactPart,
    ForPart,
    HealthyPart,
    ReadingPart,
    ScrewPart,
    SettingPart,
    TablePart,
)
from engine.procedure.model_steps import PlacePart
from engine.procedure.problems import did_you_mean
from engine.procedure.program import Caution, Fact, Guard, Layout, Reading, Screw, Setting
from engine.procedure.source import NOWHERE, Span
from engine.procedure.tree import Scalar
from engine.procedure.words import is_true
from engine.units import UNITS, convert, parse_quantity, to_base

#: More bodies or barrels than any bank has.
MOST_CARBS, MOST_BARRELS = 12, 4
HOLDS, HOLDS_NOT = "holds", "holds_not"
_PAIRS = (("more", "less"), ("richer", "leaner"), ("higher", "lower"), ("faster", "slower"), ("opens", "closes"),
          ("raises", "lowers"))
_OPPOSITE = {a: b for pair in _PAIRS for a, b in (pair, pair[::-1])}


def layout(make: Maker, part: ForPart | None) -> Layout:
    """Which banks the file is for; anything, where that has a fault."""
    if part is None:
        return Layout((), (1, MOST_CARBS), (1, MOST_BARRELS))
    families = tuple(str(f) for f in part.family if f != "any")
    before = len(make.problems)
    carbs, barrels = _counts(make, part.carbs, MOST_CARBS), _counts(make, part.barrels_per_carb, MOST_BARRELS)
    sound = len(make.problems) == before and not any(part.lost(k) for k in ("family", "carbs", "barrels_per_carb"))
    return Layout(families, carbs, barrels, part.span if sound else NOWHERE)


def _counts(make: Maker, part: CountsPart | None, most: int) -> tuple[int, int]:
    if part is None:
        return 1, 1
    low, high = int(part.low), int(part.high)
    if not 1 <= low <= high <= most:
        make.fault("bad-range", part.span, f"From {low} to {high} is no count of 1 to {most}.")
        return 1, most
    return low, high


def fact(make: Maker, name: str, part: FactPart, bank: Layout) -> Fact | None:
    """A fact, its type from the job model or as declared here."""
    if any(part.lost(k) for k in ("choices", "unit", "range", "yes_no", "default")):
        return None
    found = _declared(make, part) if (part.choices or part.unit is not None or part.range or part.yes_no) else (
        _inferred(make, part))
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
        return fact_type(part.path)
    except NoFact as fault:
        section, _, rest = part.path.partition(".")
        if section == "instruments" and rest.isidentifier() and not fault.hint:
            return Type("bool"), False  # every instrument is a yes or no, and a shop may name further ones
        hint = fault.hint or "Say what it is: `choices`, `unit` and `range`, or `yes_no: true`."
        make.fault("unknown-fact", part.path.span, str(fault), hint)
        return None


def _declared(make: Maker, part: FactPart) -> tuple[Type, object] | None:
    try:
        kind, silent = fact_type(part.path)
    except NoFact as fault:
        if fault.known:
            make.fault("unknown-fact", part.path.span, str(fault))
            return None
    else:
        others = part.unit or part.range or part.yes_no
        if kind.kind == "choice" and set(part.choices) <= set(kind.choices) and not others:
            # Some of the job's own words: a file for those only; a job with another is refused at the start.
            narrowed = _choices(make, part.choices, part.value_span("choices"))
            return None if narrowed is None else (narrowed[0], silent if silent in part.choices else None)
        make.fault("unknown-fact", part.path.span, f"The job itself says what `{part.path}` can be.",
                   "Write only the path, and a `default` if need be.")
        return None
    if part.yes_no:
        return Type("bool"), None
    if part.choices:
        return _choices(make, part.choices, part.value_span("choices"))
    if part.unit is None or not part.range:
        make.fault("missing-key", part.head, "A number of the job needs `unit` and `range`.")
        return None
    pair = make.pair(part, "range", part.unit)
    return None if pair is None else (_number_type(part.unit, pair), None)


def _number_type(unit: str, pair: tuple[Fraction, Fraction]) -> Type:
    return Type("number", UNITS[unit].dimension, str(unit) or None, *pair)


def _choices(make: Maker, words: Sequence[Scalar], span: Span) -> tuple[Type, object] | None:
    if len(words) < 2 or len(set(words)) < len(words):
        make.fault("bad-choices", span, "Choices are two words or more, each once.")
        return None
    return Type("choice", choices=tuple(str(w) for w in words)), None


def _default(make: Maker, word: Scalar, kind: Type) -> object:
    if kind.kind == "bool":
        if word not in ("true", "false"):
            make.fault("wrong-kind", word.span, "The default is true or false here.")
        return word == "true"
    if kind.kind == "choice":
        if word not in kind.choices:
            make.fault("unknown-choice", word.span, f"`{word}` is none of the choices.",
                       did_you_mean(word, kind.choices, "It can be"))
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
        _inside(make, part.value, base, kind)
        return Setting(str(name), kind, base, None, {}, str(part.source), part.span)
    return _table(make, name, part, facts)


def _setting_type(make: Maker, part: SettingPart | TablePart, unit: str) -> Type | None:
    pair = make.pair(part, "range", unit)
    return None if pair is None else _number_type(unit, pair)


def _inside(make: Maker, text: Scalar, value: Fraction, kind: Type) -> None:
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
            make.fault("unknown-choice", part.key_span(key), f"`{part.by}` is never `{key}`.",
                       did_you_mean(key, choices, "It can be"))
        elif value is not None:
            table[str(key)] = value
            if kind is not None:
                _inside(make, text, value, kind)
    missing = [c for c in choices if c not in table and c not in entries and not part.lost(c)]
    if missing:
        make.fault("incomplete-table", part.by.span, f"The table has no entry for {', '.join(missing)}.",
                   "Add one for every choice.")
    return None if kind is None else Setting(str(name), kind, None, str(part.by), table, str(part.source), part.span)


def caution(make: Maker, name: str, part: CautionPart) -> Caution:
    """A caution."""
    return Caution(str(name), str(part.word), make.plain(part.text),  # type: ignore[arg-type]
                   tuple(str(d) for d in part.demanded_by), part.span)


def opposite(effect: str) -> str | None:
    """What turning the other way does: `less water` for `more water`; None where no word turns round."""
    words = effect.split(" ")
    turned = [_OPPOSITE.get(w, w) for w in words]
    return " ".join(turned) if turned != words else None


def screw(make: Maker, name: str, part: ScrewPart) -> Screw | None:
    """A screw, without its band and condition (they are guards and come later)."""
    unit = str(part.unit)
    pair = make.pair(part, "range", unit)
    step = make.number(part.step, unit, "the step") if part.step is not None else (
        to_base(Fraction(1, 8) if unit == "turn" else Fraction(1), unit))
    outward = str(part.outward) if part.outward is not None else opposite(part.inward)
    if outward is None:
        make.fault("missing-key", part.inward.span, f"What is the opposite of `{part.inward}`?", "Add `out: ...`.")
    if pair is None or outward is None or not step or part.lost("step"):
        if step == 0 and part.step is not None:
            make.fault("bad-number", part.step.span, "A step is more than 0.")
        return None
    return Screw(str(name), str(part.each), str(part.acts), str(part.at), str(part.inward),  # type: ignore[arg-type]
                 outward, unit, str(part.zero), step, pair, None, part.span)


def reading(make: Maker, name: str, part: ReadingPart, bank: Layout) -> Reading | None:
    """A reading with its type."""
    kind = _reading_type(make, part)
    of = place(make, part.of, bank) if part.of is not None else None
    if part.of is not None and part.each is not None:
        make.fault("several-keys", part.key_span("of"), "A row has no single place.", "Delete `of` or `each`.")
    if part.each is not None and make.here is not None:
        make.fault("place-mismatch", part.each.span, "In a file with `here:` each reading is a single one.",
                   "Delete `each`.")
    average = make.number(part.average, "s", "the time") if part.average is not None else None
    take = int(part.take) if part.take is not None else None
    if take is not None and not 1 <= take <= 20:
        make.fault("bad-number", part.take.span, "A reading is taken 1 to 20 times.")  # type: ignore[union-attr]
    if kind is None or part.lost("each"):
        return None
    step = make.number(part.step, kind.unit, "the step") if part.step is not None else None
    if step is not None and part.step is not None:  # a difference: of 1 degC, not the temperature 1 degC
        step -= to_base(Fraction(0), parse_quantity(part.step, kind.unit or "")[1])
    if step is not None and step <= 0:
        make.fault("bad-number", part.step.span, "A step is more than 0.")  # type: ignore[union-attr]
    return Reading(str(name), make.plain(part.ask), make.plain(part.how), str(part.quantity or "other"), kind, step, of,
                   average, take, _healthy(make, part, kind), part.span, is_true(part.may_lack),
                   str(part.position_of) if part.position_of is not None else None)


def _reading_type(make: Maker, part: ReadingPart) -> Type | None:
    each = str(part.each) if part.each is not None else None
    holes = is_true(part.may_lack)
    spoilt = [k for k in ("unit", "range", "choices") if part.lost(k)]
    if bool(part.choices) == (part.unit is not None or bool(part.range)):
        if not spoilt:
            code = "several-keys" if part.choices else "missing-key"
            make.fault(code, part.key_span("choices"),
                       "A reading is a number (`unit` and `range`) or one of `choices`.")
        return None
    if part.choices:
        found = _choices(make, part.choices, part.value_span("choices"))
        return Type("choice", choices=found[0].choices, each=each, holes=holes) if found else None  # type: ignore[arg-type]
    if part.unit is None or not part.range:
        if not spoilt:
            make.fault("missing-key", part.head, "A number needs both `unit` and `range`.",
                       'A plain number has `unit: ""`.')
        return None
    pair = make.pair(part, "range", part.unit)
    if pair is None:
        return None
    whole = not part.unit and part.step is not None and all(
        x.denominator == 1 for x in (*pair, parse_quantity(part.step, "")[0]))
    return Type("number", UNITS[part.unit].dimension, str(part.unit) or None, *pair,
                each=each, holes=holes, whole=whole)  # type: ignore[arg-type]


def _healthy(make: Maker, part: ReadingPart, kind: Type) -> str | tuple[Fraction | None, Fraction | None] | None:
    healthy = part.healthy
    if healthy is None:
        return None
    if isinstance(healthy, HealthyPart):
        if kind.kind != "number":
            make.fault("wrong-kind", healthy.span, "The healthy answer is one of the choices here.")
            return None
        low, high = (None if s is None else make.number(s, kind.unit, "the reading")
                     for s in (healthy.low, healthy.high))
        for side, text in ((low, healthy.low), (high, healthy.high)):
            if side is not None and text is not None:
                _inside(make, text, side, kind)
        return low, high
    if kind.kind == "number":
        make.fault("wrong-kind", healthy.span, "The healthy range of a number is `{from: low, to: high}`.")
        return None
    if healthy not in kind.choices:
        make.fault("unknown-choice", healthy.span, f"`{healthy}` is none of the choices.",
                   did_you_mean(healthy, kind.choices, "It can be"))
    return str(healthy)


def place(make: Maker, part: PlacePart, bank: Layout) -> tuple[int, int | None] | None:
    """A place that every bank of the layout has."""
    carb = int(part.carb)
    barrel = int(part.barrel) if part.barrel is not None else None
    if not 1 <= carb <= bank.carbs[0]:
        make.fault("unknown-place", part.carb.span, f"Not every bank that this file is for has a carb {carb}.",
                   f"Count from 1 to {bank.carbs[0]}.")
        return None
    if barrel is not None and not 1 <= barrel <= bank.barrels_per_carb[0]:
        make.fault("unknown-place", part.span, f"Not every carb that this file is for has a barrel {barrel}.",
                   f"Count from 1 to {bank.barrels_per_carb[0]}.")
        return None
    return carb, barrel


def position_type(make: Maker, screw: Screw) -> Type:
    """What `position(screw)` is: always possibly missing, since a count can be lost."""
    each = None if screw.each == "bank" or screw.each == make.here else screw.each
    if make.here == "barrel" and screw.each == "carb":
        each = None
    return Type("number", "angle", screw.unit, *screw.range, each=each, holes=True)


def band(make: Maker, part: ScrewPart, screw: Screw) -> tuple[Guard, Guard] | None:
    """The guards of a screw's band."""
    if not part.band:
        return None
    if len(part.band) != 2:
        make.fault("bad-range", part.value_span("band"), "A band is its low and its high end: `[low, high]`.")
        return None
    want = Want(dimension="angle", unit=screw.unit)
    low, high = (make.guard(b, want) for b in part.band)
    return None if low is None or high is None else (low, high)

