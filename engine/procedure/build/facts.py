"""What a path into the job means: the type of a fact and its value, from the Job model; it reads no file."""

from __future__ import annotations

import types
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, Literal, Union, cast, get_args, get_origin

from annotated_types import Ge, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from engine.job.model import Job, Measured, WordOf
from engine.procedure.language.expr import Type
from engine.procedure.program import Fact
from engine.procedure.source.problems import nearest
from engine.quantity.units import UNITS, NotAQuantity, convert, parse_quantity, to_base
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

#: Fields share endings such as "_meter"; less alike than this is another word, not a slip.
_ALIKE = 0.8


class NoFact(ValueError):
    """A path that gives no fact; the message is a sentence, `hint` says what to write."""

    def __init__(self, message: str, hint: str = "", known: bool = False) -> None:
        super().__init__(message)
        self.hint = hint
        #: The job has such a field, but it is no yes or no, choice or number.
        self.known = known


def fact_type(path: str, words: Vocabulary = SHIPPED) -> tuple[Type, Any]:
    """The type of a field of the job and what holds where the job is silent (None: it must say).

    Raises `NoFact` where the job model has no such field, or one that is neither yes or no, choice nor number.
    """
    field = _field(path)
    annotation, extra = _bare(field)
    if annotation is bool:
        return Type("bool"), _default(field)
    if get_origin(annotation) is Literal:
        return Type("choice", choices=tuple(str(c) for c in get_args(annotation))), _default(field)
    word = next((m for m in extra if isinstance(m, WordOf)), None)
    if word is not None:
        return Type("choice", choices=tuple(getattr(words, word.table))), _default(field)
    if annotation is int:
        low = next((Fraction(cast(int, m.ge)) for m in extra if isinstance(m, Ge)), None)
        high = next((Fraction(cast(int, m.le)) for m in extra if isinstance(m, Le)), None)
        return Type("number", low=low, high=high, whole=True), _default(field)
    measured = next((m for m in extra if isinstance(m, Measured)), None)
    if measured is not None:
        unit = UNITS[measured.unit]
        kind = Type(
            "number", unit.dimension, unit.name or None, to_base(measured.low, unit), to_base(measured.high, unit)
        )
        default = _default(field)
        return kind, None if default is None else to_base(default, measured.unit)
    raise NoFact(f"`{path}` is neither yes or no, nor a choice, nor a single number.", known=True)


def paths() -> Iterator[str]:
    """Every path of the job model that can be a fact, for hints."""
    for section, field in Job.model_fields.items():
        model, _ = _bare(field)
        if isinstance(model, type) and issubclass(model, BaseModel):
            yield from (f"{section}.{name}" for name in model.model_fields)


def value_of(fact: Fact, job: Job, judged: bool = True) -> Any:
    """What a fact is worth for a job, in base units: a bool, a choice or a Fraction; None where nobody says.

    Raises ValueError with a sentence where the job says something that the fact can't be; not `judged`, where it is
    no such thing at all.
    """
    said = job.at(fact.path)
    if said is None:
        return fact.default
    kind = fact.type
    if kind.kind == "bool":
        if not isinstance(said, bool):
            raise ValueError(f"The job's {fact.path} is {said!r}; it must be true or false.")
        return said
    if kind.kind == "choice":
        word = {True: "true", False: "false"}.get(said, said) if isinstance(said, bool) else str(said)
        if judged and word not in kind.choices:
            raise ValueError(f"The job's {fact.path} is '{word}'; the procedure knows {', '.join(kind.choices)}.")
        return word
    number = _number(fact, said)
    if (kind.low is not None and number < kind.low) or (kind.high is not None and number > kind.high):
        raise ValueError(f"The job's {fact.path} is {said}, outside what the procedure is for.")
    return number


def _number(fact: Fact, said: Any) -> Fraction:
    unit = fact.type.unit or ""
    if isinstance(said, Fraction):  # the job's own fields are held in the unit that they are declared in
        return to_base(said, unit)
    try:
        number, found = parse_quantity(str(said), unit)
        return to_base(convert(number, found.name, unit), unit)
    except (NotAQuantity, ValueError) as fault:
        raise ValueError(f"The job's {fact.path}: {fault}") from None


def _field(path: str) -> FieldInfo:
    parts = path.split(".")
    model: Any = Job
    for i, part in enumerate(parts):
        fields = getattr(model, "model_fields", None)
        if fields is None or part not in fields:
            close = nearest(part, (p.rpartition(".")[2] for p in paths() if p.startswith(parts[0])), _ALIKE)
            hint = f"Did you mean '{parts[0]}.{close}'?" if close else ""
            raise NoFact(f"The job has no field `{path}` of its own.", hint)
        field: FieldInfo = fields[part]
        if i == len(parts) - 1:
            return field
        model, _ = _bare(field)
    raise NoFact(f"`{path}` is a part of the job, not a field.")


def _bare(field: FieldInfo) -> tuple[Any, list[Any]]:
    """The annotation without `| None` and `Annotated`, and all that was said beside it."""
    annotation: Any = field.annotation
    extra = list(field.metadata)
    if get_origin(annotation) in (Union, types.UnionType):
        inner = [a for a in get_args(annotation) if a is not type(None)]
        annotation = inner[0] if len(inner) == 1 else annotation
    while hasattr(annotation, "__metadata__"):
        extra += list(annotation.__metadata__)
        annotation = annotation.__origin__
    return annotation, extra


def _default(field: FieldInfo) -> Any:
    if field.is_required():
        return None
    value = field.get_default()
    return Fraction(value) if isinstance(value, int) and not isinstance(value, bool) else value
