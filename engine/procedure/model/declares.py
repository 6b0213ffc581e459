"""What a file or a shop's folder adds to the trade's vocabulary, as pydantic models; their texts are the manual."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator

from engine.procedure.model.base import Part, key, maybe, named, pair, several
from engine.procedure.model.leaves import Quantity, Text, UnitName, Word, one_of, short
from engine.procedure.source.tree import Scalar, Seq, mapping


class StateKeyPart(Part):
    """A key of `state` with the words that it may have."""

    choices: list[Word] = key(None, "Choices", "The words that it may have: `[running, stopped]`.")
    dangers: dict[Word, Text] = named(
        None, "Dangers", "Words that can kill by themselves, and with what: each demands a caution with `word: danger`."
    )
    about: Text | None = maybe(None, "About", "What it is, in a few words.")


def _choices(value: Any) -> Any:
    """`[running, stopped]` is {choices: [running, stopped]}."""
    return mapping(value.span, {"choices": value}) if isinstance(value, Seq) else value


StateWords = Annotated[StateKeyPart, BeforeValidator(_choices, json_schema_input_type=list[Word] | StateKeyPart)]


class NewQuantityPart(Part):
    """What a reading is to a machine. A look has only `about`."""

    unit: UnitName | None = maybe(None, "Unit", "For a number: its unit.")
    range: list[Quantity] = pair("Range", "For a number: what is possible at all, `[0, 200]`.")
    needs: dict[Word, Word] = named(
        None, "Needs", "The state without which there is nothing to read, one: `{pump: running}`."
    )
    hazard: Text | None = maybe(None, "Hazard", "The hazard that it is taken from; its step must name it.")
    about: Text | None = maybe(None, "About", "What it is, in a few words.")


class HazardPart(Part):
    """A danger that steps may name. Short: what it is, in a few words."""

    about: Text = key(None, "About", "What it is, in a few words.")
    tools: list[Text] = several(None, "Tools", "Tools that bring it: a file that needs one needs the caution.")


class FamilyPart(Part):
    """A family of banks. Short: what it is, in a few words."""

    about: Text = key(None, "About", "What it is, in a few words.")


class ScrewKindPart(Part):
    """A kind of screw that sets how rich it runs, with its band, in turns out from its seat."""

    out: Annotated[Scalar, *one_of("richer", "leaner")] = key(
        None, "Out", "What turning it out does: richer or leaner."
    )
    start: Quantity = key(None, "Start", "Where it is first set: `1.5 turn`.")
    rest: list[Quantity] = pair("Rest", "Where it comes to rest with the right parts: `[1, 2]`.", required=True)
    doubt: list[Quantity] = pair("Doubt", "Outside these its part is the wrong size. Left out: as `rest`.")
    source: Text = key(None, "Source", "Where the numbers come from: a source, `common practice`, `from memory`.")
    about: Text | None = maybe(None, "About", "What it is, in a few words.")


class DeclaresPart(Part):
    """Words that the shipped vocabulary does not have. What nobody declares is a slip."""

    states: dict[Word, StateWords] = named(
        None, "States", "Keys of `state` with their words: `{pump: [running, stopped]}`."
    )
    quantities: dict[Word, Annotated[NewQuantityPart, *short(NewQuantityPart, "about", Text)]] = named(
        None, "Quantities", "What readings are to a machine: `{water flow: {unit: L/min, range: [0, 100]}}`."
    )
    hazards: dict[Word, Annotated[HazardPart, *short(HazardPart, "about", Text)]] = named(
        None, "Hazards", "Dangers that steps may name: `{scald: Water above 60 degC.}`."
    )
    families: dict[Word, Annotated[FamilyPart, *short(FamilyPart, "about", Text)]] = named(
        None, "Families", "Families of banks: `{twin valve header: Two valves on one header.}`."
    )
    screws: dict[Word, ScrewKindPart] = named(
        None, "Screws", "Kinds of screws that set how rich it runs, as a job names them, with their bands."
    )
