"""The steps of a file as pydantic models; their titles and descriptions are the manual, shown by an editor."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Discriminator, Tag

from engine.procedure.model.base import Part, key, maybe, named, several
from engine.procedure.model.leaves import (
    NUMBERS_FROM,
    Code,
    Expression,
    HazardName,
    Name,
    Phase,
    Quantity,
    Stem,
    StepName,
    Text,
    Whole,
    Word,
    Yes,
    many,
    one_of,
    short,
)
from engine.procedure.source.tree import Map, Scalar, mapping

Severity = Annotated[Scalar, *one_of("note", "adjust", "change part", "stop")]
WHEN = "Only where this holds. An expression, such as `has_meter` or `gap > 0.5 L/min`."


class PlacePart(Part):
    """One place on the bank."""

    carb: Whole = key(None, "Carb", "Which body, counted from 1 along the bank.")
    barrel: Whole | None = maybe(None, "Barrel", "Which barrel of it, counted from 1. Left out: the whole body.")


class LimitPart(Part):
    """How often a step may be entered: what makes every run end."""

    visits: Whole = key(None, "Visits", "So many visits are allowed in one call of this file.")
    then: StepName = key(None, "Then", "The step that the next visit goes to instead. It must lead out of the loop.")


class MovePart(Part):
    """Turn a screw: `to` a position, or `by` an amount in a `direction`."""

    screw: Name = key(None, "Screw", "A name from `screws`.")
    each: Annotated[Scalar, *one_of("carb", "barrel", "gap")] | None = maybe(
        None, "Each", "All places of the screw: the word used there."
    )
    only: list[PlacePart] = several(None, "Only", "Only these places: `[{carb: 1, barrel: 2}]`.")
    to: Expression | None = maybe(None, "To", "The position to turn it to, from its zero: `2 turn`, `seated`, a name.")
    by: Expression | None = maybe(None, "By", "How far to turn it from where it stands: `1/4 turn`. Needs `direction`.")
    direction: Annotated[Scalar, *one_of("in", "out")] | None = maybe(
        None, "Direction", "Which way to turn it: `in` or `out`."
    )
    when: Expression | None = maybe(None, "When", WHEN)


class FitPart(Part):
    """Fit a part."""

    part: Text = key(None, "Part", "What to fit, as the shop calls it.")
    each: Annotated[Scalar, *one_of("carb", "barrel", "cylinder")] | None = maybe(
        None, "Each", "At every place of this kind."
    )
    only: list[PlacePart] = several(None, "Only", "Only at these places: `[{carb: 1}]`.")
    size: Expression = key(None, "Size", "Its size in its own numbers: a number, or an expression.")
    when: Expression | None = maybe(None, "When", WHEN)


class WaitPart(Part):
    """A pause before the reading: `for` a time, or `until` something `at_most` so long."""

    seconds: Quantity | None = maybe("for", "For", "How long: `60 s`, `5 min`.")
    until: Text | None = maybe(None, "Until", "What to wait for, in words: `the header is warm`.")
    at_most: Quantity | None = maybe(None, "At most", "Go on after this long in any case: `20 min`.")
    why: Text | None = maybe(None, "Why", "What happens meanwhile.")
    cut: Annotated[Scalar, *one_of("allowed")] | None = maybe(None, "Cut", "`allowed` where the wait may be cut short.")


class ReadPart(Part):
    """A reading to take. Short: `flow`, or `{flow: has_meter}` with the condition."""

    reading: Name = key(None, "Reading", "A name from `readings`.")
    when: Expression | None = maybe(None, "When", WHEN)
    may_lack: Yes | None = maybe(None, "May lack", "true: a place may be not taken here, with the reason.")


class AdvisePart(Part):
    """Ask an adviser. Its answers are then known as `name.output`, its moves and parts are made by `make: name`."""

    name: Name = key(None, "Name", "What this file calls the advice, such as `next`.")
    adviser: Name = key(None, "Adviser", "Which computation. `evendraw advisers` lists them with inputs and outputs.")
    bindings: dict[Name, Expression] = named(
        "with", "With", "Its inputs: a reading's or a screw's name, or an expression where it wants a number."
    )
    when: Expression | None = maybe(None, "When", WHEN)


def _where(value: Any) -> str:
    return "place" if isinstance(value, Map | PlacePart) else "rows"


class FindingPart(Part):
    """Something that is wrong and stands until it is cleared; its code and place are its identity."""

    code: Code = key(None, "Code", "A code in words with dashes: `gland-drips`.")
    severity: Severity = key(
        None, "Severity", "note, adjust, change part or stop. A run can't end ok while one of the last two stands."
    )
    where: (
        Annotated[Annotated[PlacePart, Tag("place")] | Annotated[Expression, Tag("rows")], Discriminator(_where)] | None
    ) = maybe(None, "Where", "The places: `which(flow < 1 L/min)`, or `{carb: 1}`. Left out: all of it.")
    say: Text = key(None, "Say", "What is wrong, in one sentence. `{name}` or `{name:unit}` shows a value.")
    do: Text | None = maybe(None, "Do", "What to do about it.")
    when: Expression | None = maybe(None, "When", WHEN)


class OnStopPart(Part):
    """How the gate of a stop is worded. The gate itself, which offers to mend it and read again, to end here, or to go
    on knowingly, is the program's."""

    say: Text | None = maybe(None, "Say", "What stands in the way. Left out: what the finding says.")
    do: Text | None = maybe(None, "Do", "What to do about it, in full. Left out: what the finding says.")


class BranchPart(Part):
    """One way on. The first whose `when` holds is taken; `otherwise` only stands last."""

    when: Expression | None = maybe(None, "When", "The condition: `gap <= gap_ok and sound == 'steady'`.")
    go: StepName | None = maybe(None, "Go", "The step to go to where `when` holds.")
    otherwise: StepName | None = maybe(None, "Otherwise", "The step to go to where nothing above held.")
    why: Text | None = maybe(None, "Why", "Why this way, in words; shown at the next step.")
    finding: FindingPart | None = maybe(None, "Finding", "What is found wrong on this way.")
    findings: list[FindingPart] = several(None, "Findings", "Several of them.")


def _ends_of(title: str) -> Any:
    return named(
        "ends",
        title,
        "Where each end of the called file leads: `{mended: measure, worn: worn}`. `next`: on "
        "to the next place of `each`. `back`, for a symptom: into the interrupted step again.",
    )


def _with() -> Any:
    return named("with", "With", "Values for parameters and settings of the called file: `{target: 6 L/min}`.")


class SymptomWayPart(Part):
    """Where a symptom leads: a step, or another file."""

    go: StepName | None = maybe(None, "Go", "The step to go to.")
    call: Stem | None = maybe(None, "Call", "The file to follow, by name.")
    bindings: dict[Name, Expression] = _with()
    ends: dict[Name, Name] = _ends_of("Ends")
    limit: LimitPart | None = maybe(
        None, "Limit", "How often the symptom may lead there; the next time it leads to `then`."
    )


SymptomWay = Annotated[SymptomWayPart, *short(SymptomWayPart, "go", StepName)]


def _read(value: Any) -> Any:
    """`flow` is {reading: flow}; {flow: has_meter} is {reading: flow, when: has_meter}."""
    if isinstance(value, Map) and len(value) == 1 and "reading" not in value:
        name, when = next(iter(value.items()))
        return mapping(value.span, {"reading": name, "when": when})
    return mapping(value.span, {"reading": value}) if isinstance(value, Scalar) else value


Read = Annotated[ReadPart, BeforeValidator(_read, json_schema_input_type=Name | ReadPart | dict[Name, Expression])]


class StepPart(Part):
    """One step: what to make, say and read, and the way on. It goes in this order: limit, state, cautions, words,
    moves, fit, wait, read; then, on the answer, keep, advise, record, findings, the way on."""

    title: Text | None = maybe(None, "Title", "A few words for the trail. Left out: made from the step's name.")
    phase: Phase | None = maybe(
        None, "Phase", "Where in the work the step belongs, such as `checks`; else as the file."
    )
    limit: LimitPart | None = maybe(None, "Limit", "Every loop passes a step with a limit: `{visits: 10, then: worn}`.")
    state: dict[Word, Word] = named(
        None,
        "State",
        "How things must stand from here on: `{engine: running, hold: 1800 rpm}`. It stays until "
        "another step changes it; `hold` is cleared by `engine: stopped` or `hold: none`.",
    )
    hazards: list[HazardName] = several(None, "Hazards", "Dangers of this step; each demands its caution: `[scald]`.")
    caution: Text | None = maybe(None, "Caution", "A line of caution of this step alone.")
    cautions: list[Name] = several(None, "Cautions", "Names from `cautions` to show here.")
    do: Text | None = maybe(None, "Do", "The instruction: one action, which tool, which way, how far.")
    why: Text | None = maybe(None, "Why", "Why it is done.")
    hear: Text | None = maybe(None, "Hear", "What is heard or seen when it goes right.")
    note: Text | None = maybe(None, "Note", "A remark for the careful.")
    moves: list[MovePart] = several(None, "Moves", "Screws to turn: `[{screw: spindle, each: carb, to: 2 turn}]`.")
    make: Name | None = maybe(None, "Make", "Make the moves and fit the parts of the last advice of this name.")
    fit: list[FitPart] = several(None, "Fit", "Parts to fit: `[{part: washer, each: carb, size: 12}]`.")
    wait: WaitPart | None = maybe(None, "Wait", "A pause before reading: `{for: 60 s, why: the header fills}`.")
    read: list[Read] = several(None, "Read", "What to read: `[flow, {drips: has_meter}]`.")
    checklist: list[Read] = several(
        None,
        "Checklist",
        "Readings with one usual answer, asked as one list: one key says that all is as it should be, but for those "
        "marked `safety`. Each has `choices` and a `healthy` one.",
    )
    keep: dict[Name, Expression] = named(None, "Keep", "Remember values under a name: `{first_gap: gap}`.")
    advise: Annotated[list[AdvisePart], *many(AdvisePart)] = several(
        None, "Advise", "Ask an adviser, or several: `{name: next, adviser: even_flow, with: {flow: flow}}`."
    )
    record: Annotated[Scalar, *one_of("as found", "as left")] | None = maybe(
        None, "Record", "`as found` keeps the first visit's readings for the sheet, `as left` the last."
    )
    findings: list[FindingPart] = several(None, "Findings", "What is found wrong, each where its `when` holds.")
    on_stop: OnStopPart | None = maybe(
        None, "On stop", "How the gate of a stop that is found here is worded: `{say: ..., do: ...}`."
    )
    clear: list[Code] = several(None, "Clear", "Codes of findings that no longer stand.")
    symptoms: dict[Name, SymptomWay] = named(
        None, "Symptoms", "Where a symptom leads from this step: `{hammer: bleed}`; else as the file says."
    )
    exclusive: Yes | None = maybe(None, "Exclusive", "true: no two branches may hold at once; the checker proves it.")
    branch: list[BranchPart] | None = maybe(
        None, "Branch", "Ways on, tried from top to bottom: `- {when: gap < 1, go: done}`, last `- {otherwise: turn}`."
    )
    go: StepName | None = maybe(None, "Go", "The step to go to; of a call with `each`, after the last place.")
    call: Stem | None = maybe(None, "Call", "Follow another file, by name, in a frame of its own.")
    bindings: dict[Name, Expression] = _with()
    ends: dict[Name, Name] = _ends_of("Ends")
    name: Name | None = maybe("as", "As", "A name for the called file's results: then `name.result`.")
    each: Annotated[Scalar, *one_of("carb", "barrel")] | None = maybe(
        None, "Each", "Call the file once for each body or barrel."
    )
    order: Annotated[Scalar, *one_of("bank", "worst")] | None = maybe(
        None, "Order", "Along the bank, or the greatest of `by` first."
    )
    by: Expression | None = maybe(None, "By", "For `order: worst`: a row, its greatest place first.")
    end: Annotated[Scalar, *one_of("ok", "failed", "stopped")] | None = maybe(
        None, "End", "The procedure ends here, so."
    )
    say: Text | None = maybe(None, "Say", "The closing words of an end. `{name}` or `{name:unit}` shows a value.")
    source: Text | None = maybe(None, "Source", NUMBERS_FROM)
