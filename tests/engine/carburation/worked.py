"""Reads the worked cases of an adviser, puts each to it, and notes what it takes; it judges nothing.

A file `cases/ADVISER.yaml` is read and written by people of the trade. Its head says once what holds for all cases:
`job`, the `readings` and `screws` bound to the adviser's inputs, the `values` given. A case has `that` (what it shows),
`rows` (what was turned and read, oldest first: first the turns of a row are made, then its readings are taken) and what
the adviser `says`. A place is `2.1` (carb 2, barrel 1) or `2`. A case may change anything of the head for itself.

- `turn: {speed_screw 2: in 1/8}` turns a screw, `speed_screw 2: in until airflow 4.5` turns it to an aim;
  `fit: {idle jet 2.1: 55}` changes a part; `state`, `symptom` and `here` are the step's.
- `says` lists outputs by name. A number is met within a hundredth of itself, or lies in a range `[low, high]`.
- `moves` and `parts` are listed in full; `idle_screw 2.1: out` leaves open how far. `findings` maps codes to places,
  `sure of` codes to how sure each is said to be.
- `next speed` is the engine speed that is expected once the moves are made.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from engine.carburation.registry import ADVISERS
from engine.contract import Adviser
from engine.evidence import Advice, Aim, Answered, Evidence, Inputs, Move, Part, Place, ReadingView, ScrewView
from engine.job.model import Job
from engine.judgement import Judgement
from engine.quantity.units import convert, from_base, parse_quantity, to_base
from engine.session.consult import sealed, worded
from engine.wording import Words

CASES = Path(__file__).with_name("cases")
#: Units that rows of these quantities are written in; all others in the base unit.
WRITTEN_IN = {"CO": "%", "CO2": "%", "O2": "%", "HC": "ppm"}


class Noting(Mapping[str, Any]):
    """A mapping that notes which of its keys were asked for."""

    def __init__(self, of: Mapping[str, Any], asked: set[str]) -> None:
        self._of, self._asked = of, asked

    def __getitem__(self, key: str) -> Any:
        self._asked.add(key)
        return self._of[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._of)

    def __len__(self) -> int:
        return len(self._of)


@dataclass
class Taken:
    """What an adviser asked for: inputs by name, and quantities of the evidence."""

    inputs: set[str] = field(default_factory=set)
    quantities: set[str] = field(default_factory=set)


@contextmanager
def noted(adviser: Adviser, asked: set[str]) -> Iterator[None]:
    """While it lasts, each input that is asked of the adviser's typed inputs is noted by its name. A copy that
    `dataclasses.replace` makes takes them all, and asks for none."""
    fields = {name: name.removesuffix("_") for name in adviser.asks.__dataclass_fields__}

    def look_up(self: Any, name: str) -> Any:
        if fields.get(name) in adviser.inputs and sys._getframe(1).f_globals["__name__"] != "dataclasses":
            asked.add(fields[name])
        return object.__getattribute__(self, name)

    adviser.asks.__getattribute__ = look_up  # type: ignore[method-assign]
    try:
        yield
    finally:
        del adviser.asks.__getattribute__


@dataclass(frozen=True)
class Case:
    """One worked case, as it stands in its file with the head filled in."""

    adviser: str
    told: Mapping[str, Any]

    def __str__(self) -> str:
        return f"{self.adviser}: {self.told['that']}"

    def put(self, taken: Taken | None = None, rows: list[Any] | None = None) -> Advice:
        """The adviser's answer, whole: checked against its contract and put into words."""
        adviser, job = ADVISERS[self.adviser], Job.model_validate(self.told["job"])
        words = Words(self.told.get("terms", {}), job.bank.barrels_per_carb)
        return sealed(adviser, worded(adviser, self.judged(taken, rows), words))

    def judged(self, taken: Taken | None = None, rows: list[Any] | None = None) -> Judgement:
        """The adviser's answer as it gives it: codes, places and figures."""
        job = Job.model_validate(self.told["job"])
        taken = Taken() if taken is None else taken
        inputs, evidence = self.asked(job, taken, self.told.get("rows", []) if rows is None else rows)
        with noted(ADVISERS[self.adviser], taken.inputs):
            return ADVISERS[self.adviser].run(job, inputs, evidence)

    def asked(self, job: Job, taken: Taken, rows: list[Any]) -> tuple[Inputs, Evidence]:
        """Inputs, and evidence which notes in `taken` what is asked of it."""
        run = _Run(self.told, taken)
        for row in rows:
            run.take(row)
        here = _place(self.told["here"]) if "here" in self.told else None
        inputs = Inputs(
            run.readings(),
            run.screws(),
            {k: _value(self.adviser, k, v) for k, v in self.told.get("values", {}).items()},
            here,
        )
        evidence = Evidence(tuple(run.answers), dict(run.at), dict(run.parts), dict(run.state), run.epoch)
        return inputs, evidence


class _Run:
    """The run that the rows of a case tell of."""

    def __init__(self, told: Mapping[str, Any], taken: Taken) -> None:
        self.told, self.taken = told, taken
        self.kinds: dict[str, Any] = {s["name"]: s for s in told.get("screws", {}).values()}
        self.at: dict[tuple[str, Place], Fraction | None] = {
            (name, _place(where)): None if at == "lost" else Fraction(str(at))
            for name, kind in self.kinds.items()
            for where, at in kind["stands"].items()
        }
        self.answers: list[Answered] = []
        self.parts: dict[tuple[str, Place], Fraction] = {}
        self.state: dict[str, Any] = {"engine": "running"}
        self.epoch = 0
        self.newest: dict[str, tuple[Any, ...]] = {}

    def take(self, row: Mapping[str, Any]) -> None:
        """One answer: what was turned and fitted, then what was read."""
        before = dict(self.at)
        self.state |= row.get("state", {})
        moves = [self._turned(*x) for x in row.get("turn", {}).items()]
        parts = [Part(n.rsplit(" ", 1)[0], _place(n.rsplit(" ", 1)[1]), Fraction(str(v)))
                 for n, v in row.get("fit", {}).items()]  # fmt: skip
        self.parts |= {(p.part, p.place): p.size for p in parts}
        self.epoch += bool(parts)
        read = {q: _row(q, v) for q, v in row.items() if q not in ("turn", "fit", "state", "symptom")}
        self.newest |= read
        self.answers.append(
            Answered(
                len(self.answers), "worked", "row", _place(self.told["here"]) if "here" in self.told else None, 1,
                self.epoch, dict(self.state), Noting(read, self.taken.quantities), dict(read), before, tuple(moves),
                tuple(parts), row.get("symptom"), row.get("symptom"),
            )
        )  # fmt: skip

    def _turned(self, screw: str, how: str) -> Move:
        name, _, where = screw.rpartition(" ")
        kind, key = self.kinds[name], (name, _place(where))
        way, _, far = how.partition(" ")
        effect = kind[way]
        if far.startswith("until "):
            reading, shown = far.removeprefix("until ").rsplit(" ", 1)
            self.at[key] = None
            return Move(name, key[1], way, effect, aim=Aim(reading, Fraction(shown)))  # type: ignore[arg-type]
        turns = sum(Fraction(x) for x in far.split())
        stood = self.at[key]
        outward = 1 if kind.get("counts", "out") == "out" else -1
        self.at[key] = None if stood is None else stood + turns * outward * (1 if way == "out" else -1)
        return Move(name, key[1], way, effect, turns, self.at[key])  # type: ignore[arg-type]

    def readings(self) -> dict[str, ReadingView]:
        """Readings bound to inputs, each with its newest row."""
        return {
            n: ReadingView(
                n, r["of"], r.get("each"), r.get("unit", ""), Fraction(10) if r.get("averaged") else None,
                self.newest.get(r["of"]), Fraction(str(r["step"])) if "step" in r else None,
            )
            for n, r in self.told.get("readings", {}).items()
        }  # fmt: skip

    def screws(self) -> dict[str, ScrewView]:
        """Screws bound to inputs, as they stand now."""
        return {
            n: ScrewView(
                s["name"], s["each"], s["acts"], s["at"], s["in"], s["out"], Fraction(s.get("step", "1/16")),
                (Fraction(str(s["range"][0])), Fraction(str(s["range"][1]))),
                tuple(self.at[(s["name"], _place(p))] for p in s["stands"]), s.get("counts", "out"),
            )
            for n, s in self.told.get("screws", {}).items()
        }  # fmt: skip


def _place(text: Any) -> Place:
    parts = [int(x) for x in str(text).split(".")] if str(text) != "all" else []
    return Place(*parts)


def _row(quantity: str, values: Any) -> tuple[Any, ...]:
    row = values if isinstance(values, list) else [values]
    unit = WRITTEN_IN.get(quantity, "")
    return tuple(v if v is None or isinstance(v, str) else to_base(Fraction(str(v)), unit) for v in row)


def _value(adviser: str, name: str, value: Any) -> Any:
    kind = ADVISERS[adviser].inputs[name].type
    if isinstance(value, list):
        return tuple(None if v is None else v if isinstance(v, bool) else Fraction(str(v)) for v in value)
    if isinstance(value, bool) or kind is None or kind.kind != "number":
        return value
    number, unit = parse_quantity(str(value), kind.unit or "")
    return to_base(convert(number, unit.name, kind.unit or ""), kind.unit or "")


def cases(adviser: str) -> list[Case]:
    """The worked cases of an adviser."""
    told = YAML(typ="safe").load(CASES / f"{adviser}.yaml")
    head = {k: v for k, v in told.items() if k != "cases"}
    return [Case(adviser, _over(head, one)) for one in told["cases"]]


def _over(head: Any, own: Any) -> Any:
    """What a case says for itself, laid over the head, key by key; `null` takes a key away."""
    if not isinstance(head, Mapping) or not isinstance(own, Mapping):
        return own
    both = {k: _over(head[k], own[k]) if k in head and k in own else own.get(k, head.get(k)) for k in {**head, **own}}
    return {k: v for k, v in both.items() if v is not None or k not in head}


def said_move(m: Move) -> str:
    """`speed_screw 2: in 1/8`, as a case writes it."""
    far = f"until {m.aim.reading} {float(m.aim.value):g}" if m.aim else str(m.turns)
    return f"{m.screw} {said_place(m.place)}: {m.direction} {far}"


def said_place(p: Place) -> str:
    """`2.1`, `2`, or `all`."""
    return "all" if p.carb is None else f"{p.carb}" if p.barrel is None else f"{p.carb}.{p.barrel}"


def unit_of(adviser: str, output: str) -> str:
    """The unit that a case writes an output in: the declared one, a fraction as percent."""
    return ADVISERS[adviser].outputs[output].type.unit or ""


def in_unit(value: Fraction, unit: str) -> float:
    """A number in the base unit, as a case writes it."""
    return float(from_base(value, unit))
