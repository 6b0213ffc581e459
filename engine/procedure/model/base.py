"""What all models of a procedure file share: they keep their place in the file and turn faults into problems.

Validation is lenient on purpose: a part with a fault in one key is read without that key, so that a file's other faults
are found in the same go. A file with any error never becomes a program.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, ValidationError, model_validator
from pydantic.config import JsonDict
from pydantic_core import ErrorDetails

from engine.procedure.model.leaves import refuse
from engine.procedure.source.problems import Problem, did_you_mean
from engine.procedure.source.spans import NOWHERE, Span
from engine.procedure.source.tree import Map, Scalar, Seq, Tree, scalar


class Part(BaseModel):
    """A mapping of the file. `span_of(key)` is where the key's value stands."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, populate_by_name=False)
    _map: Map = PrivateAttr(default_factory=Map)

    @model_validator(mode="wrap")
    @classmethod
    def _keep_place(cls, data: Any, handler: Any) -> Any:
        if not isinstance(data, Map):
            if data is None:
                raise refuse("no-value", f"Nothing is written here; {cls.wanted()} belongs here.")
            kind = "A list" if isinstance(data, Seq) else "A single word"
            raise refuse("wrong-shape", f"{kind} stands here; {cls.wanted()} belongs here.")
        made = handler(data)
        made._map = data
        return made

    @classmethod
    def wanted(cls) -> str:
        """What belongs here, in words."""
        keys = [f.alias or n for n, f in cls.model_fields.items() if f.is_required()] or list(cls.model_fields)[:2]
        return f"a mapping with {', '.join(f'`{k}`' for k in keys)}"

    @property
    def span(self) -> Span:
        """The whole mapping."""
        return getattr(self._map, "span", NOWHERE)

    def value_span(self, key: str) -> Span:
        """Where the value of a key stands."""
        return getattr(self._map.get(key), "span", None) or self.key_span(key)

    def lacks_item(self, key: str) -> bool:
        """Whether an item of the list under `key` was taken out because of a fault that has been reported."""
        return bool(getattr(self._map.get(key), "lost", False))

    def lost(self, key: str) -> bool:
        """Whether `key` stood here and was taken out because of a fault that has been reported."""
        return key in self._map.lost

    @property
    def head(self) -> Span:
        """Its first key."""
        return self._map.head

    def key_span(self, key: str) -> Span:
        """Where the key itself stands."""
        return self._map.key_span(key)

    def __contains__(self, key: str) -> bool:
        return key in self._map


def key(alias: str | None, title: str, description: str, **more: Any) -> Any:
    """A required key of a mapping, with its page of the manual. `alias` is the key where Python needs that word."""
    return Field(alias=alias, title=title, description=description, **more)


def maybe(alias: str | None, title: str, description: str, **more: Any) -> Any:
    """A key that may be left out."""
    return Field(default=None, alias=alias, title=title, description=description, **more)


def several(alias: str | None, title: str, description: str, **more: Any) -> Any:
    """A list that may be left out."""
    return Field(default_factory=list, alias=alias, title=title, description=description, **more)


def pair(title: str, description: str, *, required: bool = False) -> Any:
    """A list of two: low and high."""
    extra: JsonDict = {"minItems": 2, "maxItems": 2}
    return (
        Field(title=title, description=description, json_schema_extra=extra)
        if required
        else Field(default_factory=list, title=title, description=description, json_schema_extra=extra)
    )


def named(alias: str | None, title: str, description: str, **more: Any) -> Any:
    """A mapping from names that may be left out."""
    return Field(default_factory=dict, alias=alias, title=title, description=description, **more)


M = TypeVar("M", bound=Part)


def read_model(model: type[M], data: Map, path: str, fill: Mapping[str, Tree]) -> tuple[M | None, list[Problem]]:
    """A file's mapping as its model, and every fault of its shape.

    What has a fault is taken out of `data` (and named in `lost` there), as little as will do. A key missing at the top
    is a problem too, and is read as in `fill`, so that the rest can be looked at; None where it isn't in there.
    """
    problems: list[Problem] = []
    for _ in range(50):  # each round takes something out, and a fault can hide another only so often
        try:
            return model.model_validate(data), problems
        except ValidationError as fault:
            details = fault.errors(include_url=False, include_input=False)
        trails = [_Trail(d["loc"], model, data) for d in details]
        for detail, trail in zip(details, trails, strict=True):
            if not (detail["type"] == "missing" and trail.last in getattr(trail.here, "lost", ())):
                problems.append(_problem(detail, trail, path))
        for trail in reversed(trails):
            if not trail.take_out():
                if trail.last not in fill:
                    return None, problems
                data[scalar(trail.last, data.head)] = fill[trail.last]
    return None, problems


#: Words of other languages for keys of this one.
#: Keys that somebody may write who has another language in mind, and what they are called here.
MEANT = {"else": "otherwise", "default": "otherwise", "if": "when", "goto": "go", "next": "go", "then": "go"}


class _Trail:
    """A location of pydantic followed through the data. Labels of a union stand in the location but not in the data."""

    def __init__(self, loc: tuple[int | str, ...], model: type[Part], data: Any) -> None:
        self.last = str(loc[-1]) if loc else ""
        self.span, self.owner = data.head, ""
        self.steps: list[tuple[Map | Seq, Any]] = []
        kind: Any = model
        self.known = _keys(model)
        for part in loc:
            if part == "[key]":
                self.span = self.key_span()
            elif isinstance(data, Map) and part in data:
                self.owner = next((p for _, p in reversed(self.steps) if isinstance(p, str)), "")
                self.span = data.key_span(str(part))
                self.steps.append((data, part))
                data, kind = data[str(part)], _inner(kind, str(part))
                self.span = data.span if isinstance(data, Scalar | Seq) else self.span
            elif isinstance(data, Seq) and isinstance(part, int) and part < len(data):
                self.steps.append((data, part))
                data = data[part]
                self.span = data.head if isinstance(data, Map) else getattr(data, "span", self.span)
            else:
                continue
            self.known = _keys(kind) or self.known
        self.here = data

    def key_span(self) -> Span:
        """The place of the last key itself."""
        holder, part = self.steps[-1]
        return holder.key_span(part) if isinstance(holder, Map) else self.span

    def take_out(self) -> bool:
        """Remove what the location leads to; false where that is everything."""
        if not self.steps:
            return False
        holder, part = self.steps[-1]
        if isinstance(holder, Map):
            holder.pop(part, None)
            holder.lost.add(str(part))
        elif part < len(holder):
            del holder[part]
            holder.lost = True
        return True


def _item(data: Any) -> str:
    """What may stand in a list, as somebody wrote it without its brackets."""
    return str(data) if isinstance(data, Scalar) and 0 < len(data) <= 40 else "one, two"


def _problem(detail: ErrorDetails, trail: _Trail, path: str) -> Problem:
    kind, context, last = detail["type"], detail.get("ctx", {}), trail.last
    if kind == "missing":
        return Problem("missing-key", path, trail.span, f"`{last}` is missing here.", hint=f"Add `{last}: ...`.")
    if kind == "extra_forbidden":
        owner = f" of `{trail.owner}`" if trail.owner else ""
        meant = MEANT.get(last.lower(), "")
        hint = (
            f"Here it is called `{meant}`."
            if meant in trail.known
            else did_you_mean(last, trail.known, "Keys that may stand here")
        )
        return Problem("unknown-key", path, trail.key_span(), f"`{last}` is no key{owner}.", hint=hint)
    if kind in ("list_type", "too_short"):
        return Problem("wrong-shape", path, trail.span, "A list belongs here.", hint=f"Write `[{_item(trail.here)}]`.")
    if kind == "dict_type":
        return Problem("wrong-shape", path, trail.span, "A mapping of names belongs here.", hint="Write `name: ...`.")
    if "said" in context:
        return Problem(kind, path, trail.span, context["said"], hint=context["hint"])
    return Problem("wrong-shape", path, trail.span, f"{detail['msg']}.")


def _keys(model: Any) -> list[str]:
    fields = getattr(model, "model_fields", None)
    return [f.alias or n for n, f in fields.items()] if fields else []


def _inner(model: Any, part: str) -> Any:
    """The model of what stands under a key, as far as annotations tell; within a mapping of names, of each of them."""
    fields = getattr(model, "model_fields", None)
    if not fields:
        return model
    for name, field in fields.items():
        if (field.alias or name) == part:
            return _first_model(field.annotation)
    return model  # the name of an entry, or no key at all


def _first_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _first_model(inner)
        if found is not None:
            return found
    return None
