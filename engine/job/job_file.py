"""Job files: reads one into a job with every fault at its place, and writes a job as one; it opens no book.

Scalars stay text until the job's own types read them, so that `1,25`, `1 1/4` and `012` mean what a technician wrote.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from engine.job.model import Job
from engine.job.slips import Slip, slips
from engine.procedure.source.files import read_source
from engine.procedure.source.problems import Problem, did_you_mean, in_order
from engine.procedure.source.spans import NOWHERE, Source, Span
from engine.procedure.source.tree import Map, Scalar, Seq, Tree, read_tree
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary, mixture_screw_name

#: What a missing key might look like.
_SUCH_AS = {
    "engine": "{cylinders: 4, displacement: 1598 cc, idle_speed: 950 rpm}",
    "cylinders": "4",
    "displacement": "1598 cc",
    "idle_speed": "950 rpm",
    "bank": "{family: twin-choke sidedraught, carbs: 2, barrels_per_carb: 2}",
    "family": "twin-choke sidedraught",
    "carbs": "2",
    "carb": "1",
}


#: The format that is written. A file that names none was written before there was one: exhaust was then taken at each
#: cylinder where it did not say.
FORMAT = 2
_ROWS = ("main_jet", "air_corrector", "idle_jet", "pump_jet")


class BadJob(ValueError):
    """A job file that can't be used; `problems` has every fault with its place, and the text one a line."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems


#: What is called with each word of a file that is understood and called otherwise now.
Told = Callable[[Problem], object]


def read(path: Path, words: Vocabulary = SHIPPED, told: Told | None = None) -> Job:
    """Read the job file at `path`; `words` are those that the shop knows; `told` gets a warning for each word that is
    called otherwise now. Raises `BadJob` with all that is wrong, and where."""
    source = read_source(path)
    if isinstance(source, Problem):
        raise BadJob((source,))
    return parse(source.text, str(path), words, told)


def parse(text: str, path: str = "job", words: Vocabulary = SHIPPED, told: Told | None = None) -> Job:
    """Read a job from the text of a file; `path` is what to call it in a message. Raises `BadJob`."""
    tree, faults = read_tree(Source(Path(path).stem, path, text))
    if tree is None and all(p.code == "wrong-shape" for p in faults):
        raise _bad(path, "wrong-shape", "A job file is a mapping of keys: `engine: {...}` and `bank: {...}` at least.")
    if tree is None:
        raise BadJob(tuple(faults))
    data = _plain(tree)
    faults += _format(data, tree, path)
    try:
        job = Job.model_validate(data)
    except ValidationError as fault:
        details = fault.errors(include_url=False)
        raise BadJob(in_order([*faults, *(_problem(d, tree, path) for d in details)])) from None
    faults += [_slip(s, tree, path) for s in slips(job, words)]
    if faults:
        raise BadJob(in_order(faults))
    if told is not None and (renamed := _renamed(tree, path)) is not None:
        told(renamed)
    return job


def _renamed(tree: Map, path: str) -> Problem | None:
    """A kind of mixture screw by a name that it had, or has elsewhere."""
    bank = tree.get("bank")
    said = bank.get("mixture_screw") if isinstance(bank, Map) else None
    if not isinstance(said, Scalar) or mixture_screw_name(said) == " ".join(said.split()):
        return None
    now = mixture_screw_name(said)
    return Problem(
        "renamed-word",
        path,
        said.span,
        f"'{said}' is called '{now}' here, and is understood.",
        "One thing has one name in files, on screens and on the sheet.",
        f"Write `mixture_screw: {now}`.",
        "warning",
    )


def write(job: Job) -> str:
    """The job as the text of a job file, what is as usual left out; `parse` reads the same job back."""
    from ruamel.yaml import YAML

    yaml = YAML(typ="safe", pure=True)
    yaml.default_flow_style, yaml.allow_unicode, yaml.width = False, True, 110
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]  # ruamel.yaml declares it as None
    data = job.model_dump(mode="json", exclude_defaults=True)
    for name, row in data["bank"].items():
        if name in _ROWS and row is not None and len(row) == 1:
            data["bank"][name] = row[0]
    out = io.StringIO()
    yaml.dump({"format": FORMAT, **data}, out)
    return out.getvalue()


def _format(data: dict[str, Any], tree: Map, path: str) -> list[Problem]:
    """Take the format out of the data, and give a file of before what it then meant; what is wrong with the format."""
    said = str(data.pop("format", 1))
    if said not in ("1", str(FORMAT)):
        message = f"This job file is of format '{said[:20]}', and this program reads 1 and {FORMAT}."
        return [Problem("wrong-value", path, tree.key_span("format"), message)]
    tools = data.setdefault("instruments", {}) if said == "1" else None
    if isinstance(tools, dict):
        tools.setdefault("exhaust_sampling", "each cylinder")
    return []


def _bad(path: Path | str, code: str, message: str) -> BadJob:
    return BadJob((Problem(code, str(path), NOWHERE, message),))


def _plain(tree: Tree) -> Any:
    """The tree as plain values: only an unquoted true, false or null is more than its text."""
    if isinstance(tree, Map):
        return {str(k): _plain(v) for k, v in tree.items()}
    if isinstance(tree, Seq):
        return [_plain(v) for v in tree]
    if isinstance(tree, Scalar) and not tree.quoted:
        return {"true": True, "false": False, "null": None, "~": None}.get(str(tree), str(tree))
    return None if tree is None else str(tree)


def _problem(detail: ErrorDetails, tree: Map, path: str) -> Problem:
    names, span, key, known = _follow(detail["loc"], tree)
    kind = detail["type"]
    where = ".".join(names)
    last = names[-1] if names else ""
    if kind == "missing":
        such = f" Add it, such as `{last}: {_SUCH_AS[last]}`." if last in _SUCH_AS else ""
        return Problem("missing-key", path, span, f"`{where}` is missing.{such}")
    if kind == "extra_forbidden":
        return Problem("unknown-key", path, key, f"`{where}` is no key of a job.", hint=did_you_mean(last, known))
    said = slip(detail)
    return Problem("wrong-value", path, span, f"`{where}`: {said}" if where else said)


def slip(detail: ErrorDetails) -> str:
    """What is wrong with a value of a job, as a sentence."""
    kind, context, given = detail["type"], detail.get("ctx") or {}, detail.get("input")
    said = {
        "value_error": str(context.get("error", "")),
        "literal_error": f"'{given}' is none of {context.get('expected')}",
        "greater_than_equal": f"{given} is less than {context.get('ge')}",
        "less_than_equal": f"{given} is more than {context.get('le')}",
    }.get(kind)
    if said is None:
        family = next((f for f in ("int", "bool", "model", "dict", "tuple") if kind.startswith(f)), "")
        said = {
            "int": f"'{given}' is no whole number",
            "bool": f"'{given}' is neither true nor false",
            "tuple": "a list belongs here, such as [one, two]",
            "model": "a mapping of keys belongs here",
            "dict": "a mapping of keys belongs here",
        }.get(family, detail["msg"])
    return said.rstrip(".") + "."


def _slip(slip: Slip, tree: Map, path: str) -> Problem:
    _, span, key, _ = _follow(slip.loc, tree)
    return Problem("unknown-word", path, key if "no key" in slip.message else span, slip.message, hint=slip.hint)


def _follow(loc: tuple[int | str, ...], tree: Map) -> tuple[list[str], Span, Span, list[str]]:
    """The names of a location, where its value and its key stand (or what is around it), and the keys known there."""
    here: Any = tree
    kind: Any = Job
    names, span, known = [], tree.head, []
    key = span
    for part in loc:
        known = list(getattr(kind, "model_fields", {}))
        if isinstance(here, Map) and str(part) in here:
            span = key = here.key_span(str(part))
            here = here[str(part)]
            span = here.span if isinstance(here, Scalar) else span
        elif isinstance(here, Seq) and isinstance(part, int) and part < len(here):
            here = here[part]
            span = here.head if isinstance(here, Map) else getattr(here, "span", span)
        names.append(str(part + 1) if isinstance(part, int) else str(part))
        field = getattr(kind, "model_fields", {}).get(part)
        inner = getattr(field, "annotation", kind)
        # A row of places keeps the kind of its items while its index is passed.
        kind = next((t for t in (inner, *getattr(inner, "__args__", ())) if _is_model(t)), None)
    return names, span, key, known


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)
