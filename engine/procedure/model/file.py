"""A procedure file as pydantic models; their titles and descriptions are the manual, shown by an editor."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Discriminator, Tag

from engine.procedure.model.base import Part, key, maybe, named, pair, several
from engine.procedure.model.declares import DeclaresPart
from engine.procedure.model.leaves import (
    NUMBERS_FROM,
    Each,
    Expression,
    FamilyName,
    Name,
    Phase,
    Quantity,
    QuantityName,
    Stem,
    StepName,
    Text,
    UnitName,
    Whole,
    Word,
    Yes,
    many,
    one_of,
    short,
)
from engine.procedure.model.steps import LimitPart, OnStopPart, PlacePart, StepPart
from engine.procedure.source.tree import Map, Scalar


class CountsPart(Part):
    """From so many to so many. Short: one number."""

    low: Whole = key("from", "From", "The fewest.")
    high: Whole = key("to", "To", "The most.")


Counts = Annotated[CountsPart, *short(CountsPart, ("from", "to"), Whole)]


class ForPart(Part):
    """Which banks the file is for. The checker proves the file for every one of them."""

    family: Annotated[list[FamilyName], *many(FamilyName)] = key(
        None, "Family", "The family that the job names, a list of them, or `any`."
    )
    carbs: Counts = key(None, "Carbs", "How many bodies: `2`, or `{from: 2, to: 4}`.")
    barrels_per_carb: Counts | None = maybe(None, "Barrels a carb", "How many barrels each has. Left out: 1.")


class CautionPart(Part):
    """A caution with its signal word. A danger must be understood before the run goes on."""

    word: Annotated[Scalar, *one_of("danger", "warning", "caution", "notice")] = key(
        None,
        "Signal word",
        "danger: death or serious injury will follow; warning: could; caution: injury could; notice: damage could.",
    )
    text: Text = key(None, "Text", "What can happen, and how to keep it from happening.")
    demanded_by: list[Text] = several(
        None, "Demanded by", 'States (`"pump: running"`), hazards and tools that show this caution by themselves.'
    )


class FactPart(Part):
    """Something that the job says and no step changes. Short: the path alone, where the job's own type is known."""

    path: Text = key("is", "Is", "The path into the job: `bank.stem_thread`.")
    choices: list[Word] = several(None, "Choices", "The words that may stand there.")
    unit: UnitName | None = maybe(None, "Unit", "For a number: its unit.")
    range: list[Quantity] = pair("Range", "For a number: its least and greatest, `[2, 8]`.")
    yes_no: Yes | None = maybe(None, "Yes or no", "true: the job says true or false there.")
    default: Word | None = maybe(None, "Default", "What holds where the job is silent. Left out: the job must say it.")


class SettingPart(Part):
    """A number that a shop may change, with where it comes from."""

    value: Quantity = key(None, "Value", "The number with its unit: `6 L/min`.")
    range: list[Quantity] = pair("Range", "The least and greatest that make sense: `[2, 20]`.", required=True)
    source: Text = key(None, "Source", "Where the number is from: a source, `common practice`, `from memory`.")
    about: Text | None = maybe(None, "About", "What it is for, in a few words.")


class TablePart(Part):
    """A number by a fact: one for each of its choices (`holds` and `holds_not` for a yes or no)."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Quantity]

    by: Name = key(None, "By", "The fact that decides.")
    range: list[Quantity] = pair("Range", "The least and greatest that make sense: `[1, 10]`.", required=True)
    source: Text = key(None, "Source", "Where the numbers come from.")
    about: Text | None = maybe(None, "About", "What it is for, in a few words.")


def _setting(value: Any) -> str:
    return "a table" if isinstance(value, TablePart) or (isinstance(value, Map) and "by" in value) else "a value"


Setting = Annotated[
    Annotated[SettingPart, Tag("a value")] | Annotated[TablePart, Tag("a table")], Discriminator(_setting)
]


class ParameterPart(Part):
    """What a caller hands over in `with`: a number (`unit` and `range`), one of `choices`, or a yes or no."""

    unit: UnitName | None = maybe(None, "Unit", 'For a number: its unit; `""` for a plain number.')
    range: list[Quantity] = pair("Range", "For a number: its least and greatest, `[2, 8]`.")
    choices: list[Word] = several(None, "Choices", "For a word: those that it may be.")
    yes_no: Yes | None = maybe(None, "Yes or no", "true: it holds or it does not.")
    default: Word | None = maybe(
        None, "Default", "What holds where a caller says nothing. Left out: every caller must say it."
    )
    about: Text | None = maybe(None, "About", "What it is for, in a few words.")


class ScrewPart(Part):
    """Something that is turned. Its name means the same screw in every file that a run calls."""

    each: Annotated[Scalar, *one_of("carb", "barrel", "gap", "bank")] = key(
        None, "Each", "One for each body, each barrel, each gap between two bodies, or one for the bank."
    )
    acts: Text = key(None, "Acts on", "What it changes: `water`.")
    at: Text = key(None, "At", "Where it works: `plate`.")
    inward: Text = key("in", "In", "What turning it in does: `less water`.")
    outward: Text | None = maybe("out", "Out", "What turning it out does. Left out: the opposite of `in`.")
    unit: Annotated[Scalar, *one_of("turn", "flat")] = key(None, "Unit", "What it is counted in: turn or flat.")
    zero: Text = key(None, "Zero", "Where it is counted from: `seated`.")
    step: Quantity | None = maybe(None, "Step", "The finest amount that a hand can count. Left out: 1/8 turn, 1 flat.")
    range: list[Quantity] = pair("Range", "From where to where it turns, from its zero: `[0, 8]`.", required=True)
    band: list[Expression] = pair("Band", "Where it should come to rest: `[low, high]`, numbers or settings.")
    when: Expression | None = maybe(None, "When", "The fact that says whether it is there.")
    source: Text | None = maybe(None, "Source", NUMBERS_FROM)


class HealthyPart(Part):
    """A healthy range; one side may be left open. What is right for one engine only goes by the job's facts and by
    settings: `{from: target - near, to: target + near}`."""

    low: Expression | None = maybe("from", "From", "The least: a number, or an expression over facts and settings.")
    high: Expression | None = maybe("to", "To", "The most: a number, or an expression over facts and settings.")


class LackPart(Part):
    """Why a place may be not taken. Short: `true`, with or without a reason."""

    because: list[Text] = key(
        None,
        "Because",
        "The reasons that are offered, one of which or another has to be given: `[no tool, no access]`.",
    )


def _lack(value: Any) -> str:
    return "because" if isinstance(value, Map | LackPart) else "true"


def _healthy(value: Any) -> str:
    return "from and to" if isinstance(value, Map | HealthyPart) else "a word"


class ReadingPart(Part):
    """Something that the technician reads: a number (`unit`, `range`, `step`) or one of `choices`."""

    ask: Text = key(None, "Ask", "The question: `Flow at the valve`.")
    how: Text | None = maybe(None, "How", "How to take it well.")
    quantity: QuantityName | None = maybe(
        None, "Quantity", "What it is to a machine: a word of the vocabulary, or one declared. Left out: other."
    )
    each: Each | None = maybe(None, "Each", "A row: one for each carb, barrel, gap or cylinder. Left out: a single.")
    of: PlacePart | None = maybe(None, "Of", "The place that a single one belongs to: `{carb: 1}`.")
    unit: UnitName | None = maybe(None, "Unit", 'For a number: its unit; `""` for a plain number.')
    range: list[Quantity] = pair("Range", "For a number: what is outside is refused, `[0, 20]`.")
    step: Quantity | None = maybe(
        None, "Step", "For a number: the division of its scale. A finer value is kept as typed."
    )
    rounding: Annotated[Scalar, *one_of("to step")] | None = maybe(
        None, "Rounding", "`to step`: a finer value is rounded to the nearest step, a half away from zero."
    )
    choices: list[Word] = several(None, "Choices", "The answers, the healthy one first.")
    average: Quantity | None = maybe(None, "Average", "Take the mean over this long: `5 s`.")
    take: Whole | None = maybe(None, "Take", "Take it so many times.")
    healthy: (
        Annotated[Annotated[HealthyPart, Tag("from and to")] | Annotated[Word, Tag("a word")], Discriminator(_healthy)]
        | None
    ) = maybe(None, "Healthy", "The answer of a sound one: a choice, or `{from: 5, to: 7}`.")
    may_lack: (
        Annotated[Annotated[LackPart, Tag("because")] | Annotated[Yes, Tag("true")], Discriminator(_lack)] | None
    ) = maybe(
        None, "May lack", "true: a place may be not taken. `{because: [no tool, no access]}`: only with a reason."
    )
    over_range: Yes | None = maybe(
        None,
        "Over range",
        "true: the needle may stand beyond its scale. It counts as the top of `range`; `over(reading)` asks for it.",
    )
    safety: Yes | None = maybe(
        None,
        "Safety",
        "true: somebody may be hurt by a wrong answer, so that no key for all answers it in a checklist.",
    )
    position_of: Name | None = maybe(
        None, "Position of", "A screw: the answer is where it stands, counted from its zero."
    )
    source: Text | None = maybe(None, "Source", NUMBERS_FROM)


class SymptomPart(Part):
    """What may be seen or heard at any moment, and where it leads."""

    kind: Text = key(None, "Kind", "What it is to a machine, such as `leak` or `hunting`.")
    ask: Text = key(None, "Ask", "What the technician sees or hears: `Pipe hammers`.")
    go: StepName | None = maybe(None, "Go", "The step that it leads to.")
    call: Stem | None = maybe(None, "Call", "The file that it leads to.")
    bindings: dict[Name, Expression] = named("with", "With", "Values for parameters and settings of the called file.")
    ends: dict[Name, Name] = named(
        None, "Ends", "Where each end of the called file leads; `back`: into the interrupted step again."
    )
    limit: LimitPart | None = maybe(
        None, "Limit", "How often the symptom may lead there; the next time it leads to `then`."
    )


class ValuePart(Part):
    """A named expression. Short: the expression alone."""

    expression: Expression = key("is", "Is", "The expression: `spread(flow)`.")
    unit: UnitName | None = maybe(None, "Unit", "The unit to show it in.")


class GivePart(Part):
    """A result for the caller. Short: the expression alone."""

    expression: Expression = key("is", "Is", "The expression, worked out at the end.")
    unit: UnitName | None = maybe(None, "Unit", "The unit to show it in.")
    range: list[Quantity] = pair("Range", "For a number: its least and greatest.")
    choices: list[Word] = several(None, "Choices", "For a word: those that it may be.")


Fact = Annotated[FactPart, *short(FactPart, "is", Text)]
Value = Annotated[ValuePart, *short(ValuePart, "is", Expression)]
USES = (
    "Kits whose declarations this file takes over, by name: `[running]` is the file kits/running.yaml beside this one, "
    "the shop's or the shipped. What the file declares itself takes the place of a kit's."
)
DECLARES = "Words that the shipped vocabulary does not have: states, quantities, hazards, families, screws."
WORDS = (
    "Texts by name, for `{name}` in other texts: `{stand: on its stand}`. What the file that a run begins with says "
    "holds for all that it calls, so that a shared file speaks each family's words."
)


class KitPart(Part):
    """A kit for Evendraw: declarations that procedure files share by `uses: [its name]`."""

    kit: Stem = key(None, "Kit", "The name: the same as the file's, without .yaml.")
    title: Text = key(None, "Title", "What it holds, in a few words.")
    revision: Whole = key(None, "Revision", "Counted up by one with each change.")
    uses: list[Stem] = several(None, "Uses", USES)
    declares: DeclaresPart | None = maybe(None, "Declares", DECLARES)
    terms: dict[Name, Text] = named(None, "Terms", "A family's words for the places of a bank: `{carb: valve}`.")
    words: dict[Name, Text] = named(None, "Words", WORDS)
    cautions: dict[Name, CautionPart] = named(None, "Cautions", "Dangers, by name.")
    facts: dict[Name, Fact] = named(None, "Facts", "What the job says, by name.")
    settings: dict[Name, Setting] = named(None, "Settings", "Numbers that a shop may change, by name.")
    screws: dict[Name, ScrewPart] = named(None, "Screws", "What can be turned, by name.")
    readings: dict[Name, ReadingPart] = named(None, "Readings", "What can be read, by name.")
    symptoms: dict[Name, SymptomPart] = named(None, "Symptoms", "What may be seen or heard at any moment, by name.")
    values: dict[Name, Value] = named(None, "Values", "Named expressions over the rest.")


class ProcedurePart(Part):
    """A procedure file for Evendraw: steps that a technician follows, each with its readings and its ways on."""

    procedure: Stem = key(None, "Procedure", "The name: the same as the file's, without .yaml.")
    title: Text = key(None, "Title", "What it does, in a few words.")
    revision: Whole = key(None, "Revision", "Counted up by one with each change.")
    layout: ForPart = key("for", "For", "Which banks it is for: `{family: any, carbs: 2, barrels_per_carb: 1}`.")
    here: Annotated[Scalar, *one_of("carb", "barrel")] | None = maybe(
        None,
        "Here",
        "The file works at one place and is called with `each: carb` or `each: barrel`: its readings are "
        "single, `position(screw)` is the one here, `{here}` names the place.",
    )
    phase: Phase | None = maybe(
        None, "Phase", "Where in the work its steps belong, such as `checks`; else as the calling step."
    )
    uses: list[Stem] = several(None, "Uses", USES)
    declares: DeclaresPart | None = maybe(None, "Declares", DECLARES)
    on_stop: OnStopPart | None = maybe(
        None, "On stop", "How the gate of a stop that is found in this file is worded; a step's own goes before it."
    )
    needs: list[Text] = several(None, "Needs", "Tools to lay out before starting.")
    terms: dict[Name, Text] = named(None, "Terms", "This family's words: `{carb: valve}`.")
    words: dict[Name, Text] = named(None, "Words", WORDS)
    cautions: dict[Name, CautionPart] = named(None, "Cautions", "Dangers, by name.")
    facts: dict[Name, Fact] = named(None, "Facts", "What the job says, by name.")
    settings: dict[Name, Setting] = named(None, "Settings", "Numbers that a shop may change, by name.")
    parameters: dict[Name, ParameterPart] = named(
        None, "Parameters", "What a caller hands over in `with`, by name; no shop changes it."
    )
    screws: dict[Name, ScrewPart] = named(None, "Screws", "What can be turned, by name.")
    readings: dict[Name, ReadingPart] = named(None, "Readings", "What can be read, by name.")
    symptoms: dict[Name, SymptomPart] = named(None, "Symptoms", "What may be seen or heard at any moment, by name.")
    values: dict[Name, Value] = named(None, "Values", "Named expressions over the rest.")
    gives: dict[Name, Annotated[GivePart, *short(GivePart, "is", Expression)]] = named(
        None, "Gives", "Results for a caller, by name."
    )
    start: StepName = key(None, "Start", "The first step.")
    steps: dict[StepName, StepPart] = key(None, "Steps", "The steps, by name.")
