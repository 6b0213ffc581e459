"""What the answering place asks at a step, in its order: dangers, moves before a wait, the wait, the readings, done;
pure.

The order is that of a step: a danger is understood before anything is touched, moves are made before a wait begins, and
nothing is read before the wait is over.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from engine.evidence import Move, Part, Place
from engine.quantity import wording
from engine.quantity.values import OVER_RANGE
from engine.session.view import Ask, CautionView, GateView, View
from tui.control.entry import Cell, Fields, Row
from tui.control.questions import Countdown, Option, Pick, Press
from tui.drawing import phrases, turns
from tui.drawing.padview import Question

#: Why a place may be not taken: the ready answers. They go into the record and onto the sheet in these words.
REASONS = (
    "already done",
    "not done, no tool",
    "not done, no time",
    "not done, declined",
    "can't get at it",
    "gauge does not settle",
)


@dataclass
class Sofar:
    """What was done at the step in hand before its answer: it rides with that answer, and is forgotten after it."""

    understood: set[str] = field(default_factory=set)
    begun: bool = False
    waited: bool = False
    moved: tuple[Move, ...] | None = None
    fitted: tuple[Part, ...] | None = None
    #: The same as it was typed, by which it is kept.
    moved_as: list[str | None] | None = None
    fitted_as: list[str | None] | None = None
    fields: Fields | None = None


def dangers(view: View, understood: Collection[str]) -> list[CautionView]:
    """The cautions that are still to be understood."""
    return [c for c in view.cautions if c.understand and c.name not in understood]


def question(view: View, sofar: Sofar, now: Callable[[], float]) -> Question:
    """What to ask next at this step."""
    open_dangers = dangers(view, sofar.understood)
    if open_dangers:
        caution = open_dangers[0]
        more = f" ({len(open_dangers)} to read)" if len(open_dangers) > 1 else ""
        return Press(
            f"I have understood this{more}",
            ("!",),
            "!",
            caution.text,
            "strong",
            "Enter does not do it: read it, then press !.",
            caution.word,
        )
    if view.gate is not None:
        return at_stop(view.gate)
    work = [w for w, there in (("turned", view.moves and not view.moves_made), ("fitted", view.fit)) if there]
    if view.wait is not None and not sofar.waited:
        if work and not sofar.begun:
            return Press(f"{' and '.join(work).capitalize()}: start the wait", ("enter",))
        w = view.wait
        return Countdown("before going on", float(w.seconds), w.until, w.why, w.cut, now)
    if view.read:
        if work and not sofar.begun:
            return Press(f"{' and '.join(work).capitalize()}: then read", ("enter",), opens=fields_of(view, sofar))
        return fields_of(view, sofar)
    done = "All " + " and ".join(work) + ", go on" if work else "Done, go on"
    return Press(done, ("enter",))


def fields_of(view: View, sofar: Sofar) -> Fields:
    """The fields of the step's readings: made once, so that what is typed stays."""
    if sofar.fields is None:
        sofar.fields = Fields(tuple(row_of(ask, view) for ask in view.read))
    return sofar.fields


def made(view: View, sofar: Sofar) -> bool:
    """The moves and parts of the step are done, so that none of them may be taken for an order."""
    return bool(view.moves or view.fit) and sofar.begun


def played(view: View, asked: Question) -> str:
    """What a rehearsal that plays by itself does next, in a sentence."""
    if isinstance(asked, Press) and asked.word:
        return "It reads the danger and says that it is understood."
    if view.gate is not None:
        return "It answers the stop: mended where it can be, else with its reason."
    if isinstance(asked, Countdown):
        return "It waits no longer: on the virtual engine the wait is over."
    if isinstance(asked, Fields):
        if all(asked.texts):
            return "It looks at what it read, then writes it down with Enter."
        return f"It takes the reading: {asked.row.ask}"
    if view.moves and not view.moves_made:
        return f"It turns what is shown ({wording.count(len(view.moves), 'screw')}), then Enter."
    return "It fits what is shown, then Enter." if view.fit else "It does what stands here, then Enter."


#: What each way on from a stop means, in a word more.
_STOP_HINTS = {
    "mended": "it is read again",
    "ends here": "what was found is on the sheet",
    "go on knowingly": "with a reason for the sheet",
}


FOUND_AGAIN = "It was said to be mended, and found again each time: it is not read once more."


def at_stop(stop: GateView) -> Pick:
    """The one choice at a stop: nothing goes on without it."""
    ways = tuple(_STOP_HINTS)
    options = tuple(
        Option(way, way, _STOP_HINTS.get(way, ""), str(ways.index(way) + 1) if way in ways else "")
        for way in stop.choices
    )
    again = "" if ways[0] in stop.choices else FOUND_AGAIN
    # Who presses 1 and Enter from habit, where 1 is no longer offered, must not have ended the job by it.
    at = next((n for n, way in enumerate(stop.choices) if again and way in stop.reason_for), 0)
    return Pick("STOP: HOW DOES IT GO ON", options, at, hold=True, detail=again)


def row_of(ask: Ask, view: View) -> Row:
    """A reading as fields: one a place, labelled as the bank."""
    choices = bool(ask.choices)
    low, high = ask.range or (None, None)
    cell = Cell(
        "",
        None,
        "choice" if choices else "number",
        None if choices else ask.unit,
        low,
        high,
        ask.step,
        phrases.offered(ask.choices),
        rounds=ask.rounds,
        over=ask.over_range,
    )
    if ask.each is None or not ask.places:
        cells: tuple[Cell, ...] = (cell,)
    else:
        several = len({p.carb for p in ask.places}) < len(ask.places)
        cells = tuple(
            replace(
                cell,
                place=p,
                label=label_of(p, n, ask.each, several, view),
                called=wording.place(p, view.terms, ask.each),
            )
            for n, p in enumerate(ask.places)
        )
    hints = []
    if ask.of is not None:
        hints.append(wording.place(ask.of, view.terms))
    if ask.average:
        hints.append(f"{wording.decimal(ask.average)} s average")
    if ask.take and ask.take > 1:
        hints.append(f"the middle of {ask.take}")
    return Row(
        ask.name,
        ask.ask,
        cells,
        ask.how,
        ", ".join(hints),
        ask.may_lack,
        ask.healthy,
        ask.expect,
        ask.last,
        ask.lack_needs_reason,
        ask.quantity,
        view.state.get("engine") == "running",
    )


def label_of(place: Place, n: int, each: str, several: bool, view: View) -> str:
    """The short name of a field within its row."""
    if each == "cylinder":
        return f"cyl {n + 1}"
    if each == "gap":
        return f"{n + 1}–{n + 2}"
    if several and place.barrel is not None:
        return str(place.barrel)
    return f"{wording.term(view.terms, 'carb')} {place.carb}"


def texts(ask: Ask, value: Any) -> list[str]:
    """A reading's values as they would be typed: for a rehearsal, which fills the fields in."""
    row = list(value) if isinstance(value, list | tuple) else [value]
    out = []
    for each in row:
        if each is None:
            out.append("-")
        elif each == OVER_RANGE:
            out.append("over")
        elif ask.choices:
            out.append(str(phrases.offered(ask.choices).index(each) + 1) if each in ask.choices else str(each))
        else:
            value = Fraction(each) if isinstance(each, int | Fraction) else Fraction(str(each))
            # Nobody reads finer than the scale, and 682.626 might be meant for 682626.
            value = round(value / ask.step) * ask.step if ask.step else value
            out.append(wording.number(value, ask.unit, ask.step))
    return out


def put_usual(view: View, fields: Fields) -> list[str]:
    """Put into a checklist what each open answer should be, but not what can hurt; which were put in."""
    asks = {ask.name: ask for ask in view.read}
    put = []
    for row in fields.rows:
        value = view.usual.get(row.name)
        several = value if isinstance(value, tuple) else (value,) * len(row.cells)
        said = texts(asks[row.name], list(several)) if all(isinstance(v, str) for v in several) else []
        held = fields.typed(row)
        if said and not all(t.strip() for t in held):
            fields.put(row, [old.strip() or new for old, new in zip(held, said, strict=True)])
            put.append(row.ask)
    fields.go(next((n for n, text in enumerate(fields.texts) if not text.strip()), len(fields.flat) - 1))
    return put


def reasons(row: Row) -> Pick:
    """The list of reasons why a place is not taken."""
    options = [Option(reason, reason) for reason in REASONS]
    return Pick("WHY NOT TAKEN", (*options, Option("another reason", None, "in your own words")), detail=row.ask)


#: Kinds of symptoms in the order in which they are offered, what burns first; each has its digit at every step alike.
_URGENT = ("fire", "leak", "races", "boils", "stall", "spit-back", "hunting", "stumble", "backfire")


def symptoms(view: View) -> Pick:
    """What may be seen or heard at this step, what is most urgent first."""
    kinds = {kind: n for n, kind in enumerate(_URGENT)}
    these = sorted(view.symptoms, key=lambda s: kinds.get(s.kind, len(kinds)))
    taken: set[str] = set()
    options = []
    for symptom in these:
        own = str(kinds[symptom.kind] + 1) if symptom.kind in kinds else ""
        spare = (n for n in (*map(str, range(len(kinds) + 1, 10)), "0") if n not in taken)
        digit = own if own and own not in taken else next(spare, "")
        taken.add(digit)
        options.append(Option(symptom.ask, symptom.name, digit=digit))
    return Pick(
        "WHAT DO YOU SEE OR HEAR",
        tuple(options),
        detail="" if view.symptoms else NO_SYMPTOM,
    )


NO_SYMPTOM = "This step offers none. Write a note (F4), or leave and come back when it is put right."


def lost(view: View) -> Pick:
    """Which screw was lost count of."""
    options = tuple(
        Option(phrases.plain(row.name), row.name, f"{row.acts}, {row.at}" if row.at else row.acts)
        for row in view.screws
    )
    return Pick("LOST COUNT OF WHICH SCREW", options)


def otherwise(view: View, sofar: Sofar) -> Fields:
    """What was really turned: a field a move in the screw's unit, holding what was asked; `-`: the other way."""
    moves = sofar.moved if sofar.moved is not None else view.moves
    rows: list[Row] = []
    for asked, move in zip(view.moves, moves, strict=False):
        row = turns.screw_row(view, asked.screw)
        unit = row.unit if row else "turn"
        said = turns.turn(view, asked)
        ask = f"{said.where}, {said.screw}: asked {said.direction} {said.far}. Really turned {said.direction}"
        amount = turns.in_unit(move.turns, unit) if move.turns is not None else None
        if amount is not None and move.direction != asked.direction:
            amount = -amount
        high = row.range[1] if row else Fraction(20)
        rows.append(
            Row(
                f"{asked.screw} {len(rows)}",
                ask,
                (Cell("", None, "number", unit, -high, high, None, (), amount is None),),
                hint="0: not turned; -1/8: the other way",
                start=(wording.fraction(amount),) if amount is not None else None,
            )
        )
    return Fields(tuple(rows), title="REALLY TURNED")


def really(view: View, values: dict[str, Any]) -> tuple[Move, ...]:
    """The moves that were really made, from the fields of `otherwise`; an empty field means as asked."""
    out = []
    for asked, (_, value) in zip(view.moves, values.items(), strict=False):
        row = turns.screw_row(view, asked.screw)
        if value is None:
            out.append(asked)
        elif value != 0:
            amount = turns.in_turns(abs(value), row.unit if row else "turn")
            way = asked.direction if value > 0 else ("out" if asked.direction == "in" else "in")
            effect = asked.effect if value > 0 else ""
            out.append(Move(asked.screw, asked.place, way, effect, amount))
    return tuple(out)


def amounts(kept: list[str | None]) -> dict[str, Fraction | None]:
    """What was really turned or fitted, as it was kept; what can't be read counts as asked."""
    out: dict[str, Fraction | None] = {}
    for n, text in enumerate(kept):
        try:
            out[str(n)] = None if text is None else Fraction(text)
        except (ValueError, ZeroDivisionError):
            out[str(n)] = None
    return out


def other_parts(view: View, sofar: Sofar) -> Fields:
    """What was really fitted: one field a part, holding the size that was asked; 0 for none."""
    parts = sofar.fitted if sofar.fitted is not None else view.fit
    sizes = {(p.part, p.place): p.size for p in parts}
    rows: list[Row] = []
    for part in view.fit:
        size = sizes.get((part.part, part.place), Fraction(0))
        where = wording.place(part.place, view.terms)
        ask = f"{phrases.plain(part.part)}, {where}: asked {wording.decimal(part.size)}. Fitted"
        rows.append(
            Row(
                f"{part.part} {len(rows)}",
                ask,
                (Cell("", None, "number", "", Fraction(0), Fraction(1000)),),
                hint="0: none",
                start=(wording.decimal(size),),
            )
        )
    return Fields(tuple(rows), title="REALLY FITTED")


def really_fitted(view: View, values: dict[str, Any]) -> tuple[Part, ...]:
    """The parts that were really fitted, from the fields of `other_parts`."""
    return tuple(
        Part(asked.part, asked.place, value) for asked, value in zip(view.fit, values.values(), strict=False) if value
    )
