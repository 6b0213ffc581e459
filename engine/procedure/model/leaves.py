"""The leaves of a procedure file: texts, names, numbers, choices, expressions as written; it checks shape, not meaning.

Each leaf stays a `Scalar`, so that whatever is built from it later still knows its place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from engine.procedure.language.expr import FUNCTIONS
from engine.procedure.source.problems import did_you_mean, nearest
from engine.procedure.source.tree import Map, Scalar, Seq, mapping
from engine.quantity.units import UNITS, NotAQuantity, parse_number, parse_quantity
from engine.vocabulary.families import FAMILIES
from engine.vocabulary.hazards import HAZARDS
from engine.vocabulary.phases import PHASES
from engine.vocabulary.quantities import QUANTITIES

QUANTITY_NAMES = [q.name for q in QUANTITIES]
HAZARD_NAMES = [h.name for h in HAZARDS]
FAMILY_NAMES = ["any", *(f.name for f in FAMILIES)]
#: What stands behind the type in an `Annotated`: pydantic reads it there, a type checker the type alone.
Marks = tuple[Any, ...]
LONGEST_TEXT = 1500
LONGEST_NAME = 60
#: What the key `source` is for, wherever it stands.
NUMBERS_FROM = "Where its numbers come from: a source, `common practice`, `from memory`, `derived`, `assumed`."
#: Words that guards and ways on already use for something else.
RESERVED = frozenset(FUNCTIONS) | {"and", "or", "not", "in", "is", "if", "True", "False", "None", "per", "here"}
WAYS = frozenset({"next", "back"})

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_STEM = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_DIGITS = re.compile(r"\d{19}")


def refuse(code: str, message: str, hint: str = "") -> PydanticCustomError:
    """A fault of a leaf; `read_model` turns it into a problem with this code."""
    return PydanticCustomError(code, "{said}", {"said": message, "hint": hint})


def _need_scalar(value: Any, what: str) -> Scalar:
    if value is None:
        raise refuse("no-value", f"Nothing is written here; {what} belongs here.", "Write it, or delete the key.")
    if not isinstance(value, Scalar):
        kind = "A list" if isinstance(value, Seq) else "A mapping"
        raise refuse("wrong-shape", f"{kind} stands here; {what} belongs here.")
    return value


def _text(value: Any) -> Scalar:
    text = _need_scalar(value, "a text")
    if not text.strip():
        raise refuse("no-value", "The text is empty.", "Write it, or delete the key.")
    if len(text) > LONGEST_TEXT:
        raise refuse(
            "text-too-long",
            f"The text has {len(text)} characters; {LONGEST_TEXT} are the most.",
            "Split the step in two.",
        )
    return text


def _name(value: Any) -> Scalar:
    text = _need_scalar(value, "a name")
    if not _NAME.fullmatch(text) or len(text) > LONGEST_NAME:
        fixed = re.sub(r"\W+", "_", text).strip("_")
        hint = f"Write `{fixed}`." if _NAME.fullmatch(fixed) else "Start with a letter."
        raise refuse("bad-name", f"`{text[:LONGEST_NAME]}` is no name: letters, digits and `_`, a letter first.", hint)
    if text in RESERVED:
        raise refuse("reserved-name", f"`{text}` means something in guards and can't be a name.", "Choose another.")
    return text


def _step_name(value: Any) -> Scalar:
    text = _name(value)
    if text in WAYS:
        raise refuse(
            "reserved-name", f"`{text}` has a meaning of its own in `ends` and can't name a step.", "Choose another."
        )
    return text


def _stem(value: Any) -> Scalar:
    text = _need_scalar(value, "the name of a file, without .yaml")
    if not _STEM.fullmatch(text) or len(text) > LONGEST_NAME:
        raise refuse(
            "bad-name",
            f"`{text[:LONGEST_NAME]}` is no file's name: letters, digits, `-` and `_`.",
            "Leave folders and `.yaml` away." if text.endswith(".yaml") or "/" in text else "",
        )
    return text


def _code(value: Any) -> Scalar:
    text = _need_scalar(value, "a code in words")
    if not re.fullmatch(r"[a-z]+(-[a-z0-9]+)*", text) or len(text) > LONGEST_NAME:
        raise refuse("bad-name", f"`{text[:LONGEST_NAME]}` is no code: small letters and `-`, such as `gland-drips`.")
    return text


def _expression(value: Any) -> Scalar:
    text = _need_scalar(value, "an expression")
    if not text.strip():
        raise refuse("no-value", "The expression is empty.")
    if "\n" in text or text.span.line != text.span.end_line:
        raise refuse("bad-guard", "An expression stands on one line.", "Give a part of it a name under `values`.")
    return text


def _quantity(value: Any) -> Scalar:
    text = _need_scalar(value, "a number with its unit")
    if _DIGITS.search(text) or len(text) > 40:
        raise refuse("bad-number", "This number has more digits than any instrument.", "Round it.")
    try:
        parse_quantity(text, "")
    except NotAQuantity as fault:
        raise _no_quantity(text, fault) from None
    return text


def _no_quantity(text: str, fault: NotAQuantity) -> PydanticCustomError:
    try:
        _, rest = parse_number(text)
    except NotAQuantity:
        return refuse("bad-number", f"`{text}` is not a number.", "Write it like 4, 0.5, 1/4 or 1 1/4, then its unit.")
    return refuse("unknown-unit", f"`{rest[:20]}` is no unit that the program knows.", did_you_mean(rest, UNITS))


def _whole(value: Any) -> Scalar:
    text = _need_scalar(value, "a whole number")
    if re.fullmatch(r"\d{7,}", text):
        raise refuse("bad-number", f"`{text[:30]}` is more than anybody would count to.", "Take a smaller number.")
    if not re.fullmatch(r"\d{1,6}", text):
        raise refuse("bad-number", f"`{text[:30]}` is not a whole number.", "Write it in digits.")
    return text


def _unit(value: Any) -> Scalar:
    text = _need_scalar(value, "a unit")
    if text not in UNITS:
        raise refuse("unknown-unit", f"`{text[:20]}` is no unit that the program knows.", did_you_mean(text, UNITS))
    return text


def _yes(value: Any) -> Scalar:
    text = _need_scalar(value, "true or false")
    if text not in ("true", "false"):
        hint = {"yes": "Write true.", "on": "Write true.", "no": "Write false.", "off": "Write false."}
        raise refuse("unknown-word", f"`{text[:20]}` is neither true nor false.", hint.get(text.lower(), ""))
    return text


def one_of(*words: str) -> Marks:
    """The marks of a leaf that is one of some words."""

    def check(value: Any) -> Scalar:
        text = _need_scalar(value, f"one of {', '.join(words)}")
        if text not in words:
            hint = did_you_mean(text, words) if nearest(text, words) else f"Write one of: {', '.join(words)}."
            raise refuse("unknown-word", f"`{text[:40]}` is not a word that may stand here.", hint)
        return text

    return PlainValidator(check), WithJsonSchema({"type": "string", "enum": list(words)})


def one_known(check: Callable[[Any], Scalar], words: Iterable[str]) -> Marks:
    """A leaf of the file's own choosing for which there are usual words, which an editor offers."""
    usual = {"type": "string", "enum": list(words)}
    return PlainValidator(check), WithJsonSchema({"anyOf": [usual, {"type": "string"}]})


def _leaf(check: Callable[[Any], Scalar], **schema: Any) -> Marks:
    return PlainValidator(check), WithJsonSchema(schema)


#: A number may be written bare or with its unit, so that an editor's own types (YAML 1.2 core) must both fit.
_NUMBER_OR_TEXT = ["string", "number"]

Text = Annotated[Scalar, *_leaf(_text, type="string", minLength=1, maxLength=LONGEST_TEXT)]
#: A word of the file's own choosing, which YAML may take for a number or a truth: `0.7`, `yes`.
Word = Annotated[Scalar, *_leaf(_text, type=["string", "number", "boolean"])]
Name = Annotated[Scalar, *_leaf(_name, type="string", pattern=f"^{_NAME.pattern}$", maxLength=LONGEST_NAME)]
StepName = Annotated[Scalar, *_leaf(_step_name, type="string", pattern=f"^{_NAME.pattern}$", maxLength=LONGEST_NAME)]
Stem = Annotated[Scalar, *_leaf(_stem, type="string", pattern=f"^{_STEM.pattern}$", maxLength=LONGEST_NAME)]
Code = Annotated[Scalar, *_leaf(_code, type="string", pattern="^[a-z]+(-[a-z0-9]+)*$", maxLength=LONGEST_NAME)]
Expression = Annotated[Scalar, *_leaf(_expression, type=["string", "number", "boolean"])]
Quantity = Annotated[Scalar, *_leaf(_quantity, type=_NUMBER_OR_TEXT)]
Whole = Annotated[Scalar, *_leaf(_whole, type="integer", minimum=0, maximum=999999)]
UnitName = Annotated[Scalar, *_leaf(_unit, type="string", enum=sorted(UNITS))]
Yes = Annotated[Scalar, *_leaf(_yes, type="boolean")]
Phase = Annotated[Scalar, *one_known(_text, PHASES)]
QuantityName = Annotated[Scalar, *one_known(_text, QUANTITY_NAMES)]
HazardName = Annotated[Scalar, *one_known(_text, HAZARD_NAMES)]
FamilyName = Annotated[Scalar, *one_known(_text, FAMILY_NAMES)]
Each = Annotated[Scalar, *one_of("carb", "barrel", "gap", "cylinder")]


def many(item: Any) -> Marks:
    """The marks of a list of `item`, where one alone is a list of one."""

    def listed(value: Any) -> Any:
        if isinstance(value, Scalar | Map):
            made = Seq([value])
            made.span = value.span
            return made
        return value

    return (BeforeValidator(listed, json_schema_input_type=item | list[item]),)


def short(part: Any, keys: str | tuple[str, ...], leaf: Any) -> Marks:
    """The marks of a mapping that may be written short: a bare `leaf` means the mapping with it under `keys`."""
    names = (keys,) if isinstance(keys, str) else keys

    def write_out(value: Any) -> Any:
        return mapping(value.span, dict.fromkeys(names, value)) if isinstance(value, Scalar) else value

    return (BeforeValidator(write_out, json_schema_input_type=leaf | part),)


def is_true(leaf: Scalar | None) -> bool:
    """The truth of a `Yes` leaf; absent is false."""
    return leaf == "true"
