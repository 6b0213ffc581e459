"""The gear of a file, from model to program: its screws and readings and the places of the bank; it makes no steps."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from fractions import Fraction
from typing import cast

from engine.procedure.build.declarations import choices, inside
from engine.procedure.build.making import Maker, Want
from engine.procedure.language.expr import Each, Type
from engine.procedure.model.file import HealthyPart, LackPart, ReadingPart, ScrewPart
from engine.procedure.model.leaves import is_true
from engine.procedure.model.steps import PlacePart
from engine.procedure.program import Guard, Healthy, Layout, OfScrew, Reading, Screw
from engine.procedure.source.problems import did_you_mean, nearest
from engine.procedure.source.tree import Scalar
from engine.quantity.units import UNITS, NotAQuantity, parse_quantity, to_base

_PAIRS = (
    ("more", "less"),
    ("richer", "leaner"),
    ("higher", "lower"),
    ("faster", "slower"),
    ("opens", "closes"),
    ("raises", "lowers"),
)
#: The zero from which turns are counted outwards; from any other they are counted inwards.
SEAT = "seated"
#: How the quantities are called that tell where screws stand.
POSITION = "screw position"
_OPPOSITE = {a: b for pair in _PAIRS for a, b in (pair, pair[::-1])}


def opposite(effect: str) -> str | None:
    """What turning the other way does: `less water` for `more water`; None where no word turns round."""
    words = effect.split(" ")
    turned = [_OPPOSITE.get(w, w) for w in words]
    return " ".join(turned) if turned != words else None


def screw(make: Maker, name: str, part: ScrewPart) -> Screw | None:
    """A screw, without its band and condition (they are guards and come later)."""
    unit = str(part.unit)
    pair = make.pair(part, "range", unit)
    step = (
        make.number(part.step, unit, "the step")
        if part.step is not None
        else (to_base(Fraction(1, 8) if unit == "turn" else Fraction(1), unit))
    )
    outward = str(part.outward) if part.outward is not None else opposite(part.inward)
    if outward is None:
        make.fault("missing-key", part.inward.span, f"What is the opposite of `{part.inward}`?", "Add `out: ...`.")
    elif outward == str(part.inward):
        make.judge(
            "same-effect",
            (part.outward or part.inward).span,
            f"Turned in and turned out, `{name}` does the same: {outward}.",
            f"Say `out: {opposite(outward)}`." if opposite(outward) else "Correct one of the two.",
        )
    slip = nearest(part.zero, (SEAT,), 0.75) if part.zero != SEAT else None
    if slip is not None:
        make.judge(
            "unknown-word",
            part.zero.span,
            f"`{part.zero}` is no seat, and a screw counts its turns outwards only from `{SEAT}`.",
            f"Did you mean `{SEAT}`?",
            SEAT,
        )
    if pair is None or outward is None or not step or part.lost("step"):
        if step == 0 and part.step is not None:
            make.fault("bad-number", part.step.span, "A step is more than 0.")
        return None
    return Screw(
        str(name),
        cast(OfScrew, str(part.each)),
        str(part.acts),
        str(part.at),
        str(part.inward),
        outward,
        unit,
        str(part.zero),
        step,
        pair,
        None,
        part.span,
        source=str(part.source or ""),
    )


def reading(make: Maker, name: str, part: ReadingPart, bank: Layout) -> Reading | None:
    """A reading with its type."""
    kind = _reading_type(make, part)
    of = place(make, part.of, bank) if part.of is not None else None
    if part.of is not None and part.each is not None:
        make.fault("several-keys", part.key_span("of"), "A row has no single place.", "Delete `of` or `each`.")
    if part.each is not None and make.here is not None:
        make.fault(
            "place-mismatch", part.each.span, "In a file with `here:` each reading is a single one.", "Delete `each`."
        )
    if str(part.quantity).endswith(POSITION) and part.position_of is None and make.here is None:
        make.warn(
            "position-untold",
            part.span,
            f"`{name}` is a {part.quantity}, and does not say of which screw.",
            "Guards and advisers would go on taking the place of that screw for unknown: add `position_of: screw`.",
        )
    if isinstance(part.healthy, Scalar) and part.choices and part.healthy in part.choices[1:]:
        make.warn(
            "healthy-not-first",
            part.healthy.span,
            f"`{part.healthy}` is the healthy answer of `{name}`, and not the first of its choices.",
            "The first is under the thumb of whoever answers: put the healthy one there, or correct it.",
        )
    average = make.number(part.average, "s", "the time") if part.average is not None else None
    take = int(part.take) if part.take is not None else None
    if take is not None and part.take is not None and not 1 <= take <= 20:
        make.fault("bad-number", part.take.span, "A reading is taken 1 to 20 times.")
    if kind is None or part.lost("each"):
        return None
    step = make.number(part.step, kind.unit, "the step") if part.step is not None else None
    if step is not None and part.step is not None:  # a difference: of 1 degC, not the temperature 1 degC
        step -= to_base(Fraction(0), parse_quantity(part.step, kind.unit or "")[1])
    if step is not None and part.step is not None and step <= 0:
        make.fault("bad-number", part.step.span, "A step is more than 0.")
    if part.rounding is not None and part.step is None:
        make.fault("missing-key", part.key_span("rounding"), "There is no `step` to round to.", "Add `step: 0.1`.")
    return Reading(
        str(name),
        make.plain(part.ask),
        make.plain(part.how),
        str(part.quantity or "other"),
        kind,
        step,
        of,
        average,
        take,
        _healthy(make, part, kind),
        part.span,
        may_lack(part),
        str(part.position_of) if part.position_of is not None else None,
        is_true(part.safety),
        over_range=_over_range(make, part),
        lack_needs_reason=isinstance(part.may_lack, LackPart),
        reasons=tuple(str(r) for r in part.may_lack.because) if isinstance(part.may_lack, LackPart) else (),
        rounds=part.rounding is not None,
        source=str(part.source or ""),
    )


def finish_reading(make: Maker, reading: Reading, part: ReadingPart, constants: Collection[str]) -> Reading:
    """A reading with those ends of its healthy range that are expressions; only `constants` (facts, settings,
    parameters) may stand in them, since it is shown before anything is read."""
    if not isinstance(part.healthy, HealthyPart) or not isinstance(reading.healthy, tuple):
        return reading
    want = Want(dimension=reading.type.dimension, unit=reading.type.unit)
    ends: list[Fraction | Guard | None] = []
    for side, text in zip(reading.healthy, (part.healthy.low, part.healthy.high), strict=True):
        made = make.guard(text, want) if side is None and text is not None and not is_number(text) else None
        for name in sorted(made.uses - set(constants)) if made is not None and text is not None else ():
            make.fault(
                "unknown-name",
                text.span if text else part.span,
                f"`{name}` is not known before the reading is taken.",
                "What is healthy goes by facts, settings and parameters.",
            )
        ends.append(side if made is None else made)
    return replace(reading, healthy=(ends[0], ends[1]))


def is_number(text: Scalar) -> bool:
    """Whether a text is a number, with or without its unit."""
    try:
        parse_quantity(text, "")
    except NotAQuantity:
        return False
    return True


def may_lack(part: ReadingPart) -> bool:
    """Whether a place of it may be not taken."""
    return isinstance(part.may_lack, LackPart) or is_true(part.may_lack)


def _over_range(make: Maker, part: ReadingPart) -> bool:
    if is_true(part.over_range) and part.choices:
        make.fault(
            "wrong-kind", part.key_span("over_range"), "Only a number has a scale to stand beyond.", "Delete it."
        )
        return False
    return is_true(part.over_range)


def _reading_type(make: Maker, part: ReadingPart) -> Type | None:
    each = cast(Each, str(part.each)) if part.each is not None else None
    holes = may_lack(part)
    spoilt = [k for k in ("unit", "range", "choices") if part.lost(k)]
    if bool(part.choices) == (part.unit is not None or bool(part.range)):
        if not spoilt:
            code = "several-keys" if part.choices else "missing-key"
            make.fault(
                code, part.key_span("choices"), "A reading is a number (`unit` and `range`) or one of `choices`."
            )
        return None
    if part.choices:
        found = choices(make, part.choices, part.value_span("choices"))
        return replace(found, each=each, holes=holes) if found else None
    if part.unit is None or not part.range:
        if not spoilt:
            make.fault(
                "missing-key", part.head, "A number needs both `unit` and `range`.", 'A plain number has `unit: ""`.'
            )
        return None
    pair = make.pair(part, "range", part.unit)
    if pair is None:
        return None
    whole = (
        not part.unit
        and part.step is not None
        and part.rounding is not None
        and all(x.denominator == 1 for x in (*pair, parse_quantity(part.step, "")[0]))
    )
    return Type(
        "number", UNITS[part.unit].dimension, str(part.unit) or None, *pair, each=each, holes=holes, whole=whole
    )


def _healthy(make: Maker, part: ReadingPart, kind: Type) -> str | Healthy | None:
    healthy = part.healthy
    if healthy is None:
        return None
    if isinstance(healthy, HealthyPart):
        if kind.kind != "number":
            make.fault("wrong-kind", healthy.span, "The healthy answer is one of the choices here.")
            return None
        low, high = (
            make.number(s, kind.unit, "the reading") if s is not None and is_number(s) else None
            for s in (healthy.low, healthy.high)
        )
        for side, text in ((low, healthy.low), (high, healthy.high)):
            if side is not None and text is not None:
                inside(make, text, side, kind)
        return low, high
    if kind.kind == "number":
        make.fault("wrong-kind", healthy.span, "The healthy range of a number is `{from: low, to: high}`.")
        return None
    if healthy not in kind.choices:
        make.fault(
            "unknown-choice",
            healthy.span,
            f"`{healthy}` is none of the choices.",
            did_you_mean(healthy, kind.choices, "It can be"),
        )
    return str(healthy)


def place(make: Maker, part: PlacePart, bank: Layout) -> tuple[int, int | None] | None:
    """A place that every bank of the layout has."""
    carb = int(part.carb)
    barrel = int(part.barrel) if part.barrel is not None else None
    if not 1 <= carb <= bank.carbs[0]:
        make.fault(
            "unknown-place",
            part.carb.span,
            f"Not every bank that this file is for has a carb {carb}.",
            f"Count from 1 to {bank.carbs[0]}.",
        )
        return None
    if barrel is not None and not 1 <= barrel <= bank.barrels_per_carb[0]:
        make.fault(
            "unknown-place",
            part.span,
            f"Not every carb that this file is for has a barrel {barrel}.",
            f"Count from 1 to {bank.barrels_per_carb[0]}.",
        )
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
