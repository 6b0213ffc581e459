"""What each rule of the procedure language means: a tiny file and the trace of a run of it, one pair for each rule.

A trace is a list of what is asked and answered in turn. Every key of an entry but `answer` and `refused` is something
that the run shows at that step; `end` is the outcome. A file may have several traces, each on its own job.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML
from water_trade import ADVISERS, water_job

from engine.evidence import Place
from engine.procedure.build.load import load
from engine.quantity.units import from_base
from engine.run.admit import admit
from engine.run.answer import Answer, AnswerRefused
from engine.run.bind import NotForThisJob
from engine.run.layout import prepare
from engine.run.machine import begin, step
from engine.session.consult import Live
from engine.session.shown import show
from engine.session.view import View

HERE = Path(__file__).parent
TRACES = sorted(HERE.glob("*.trace.yaml"))
RULES = range(1, 28)


def _cases() -> list[Any]:
    found = []
    for path in TRACES:
        for trace in YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8")):
            name = path.name.removesuffix(".trace.yaml")
            found.append(pytest.param(name, trace, id=f"{name}: {trace['that']}"))
    return found


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_has_its_file_and_trace(rule: int) -> None:
    assert list(HERE.glob(f"rule_{rule:02}_*.yaml")), "no file"
    assert any(p.name.startswith(f"rule_{rule:02}_") for p in TRACES), "no trace"


@pytest.mark.parametrize(("name", "trace"), _cases())
def test_a_run_of_the_file_gives_its_trace(name: str, trace: dict[str, Any]) -> None:
    loaded = load(HERE / f"{name}.yaml", [], ADVISERS)
    assert loaded.program is not None, "\n".join(str(p) for p in loaded.problems)
    job = water_job(**trace.get("job", {}))
    if "refuses" in trace:
        with pytest.raises(NotForThisJob, match=trace["refuses"]):
            prepare(loaded.program, job, trace.get("shop"))
        return
    plan = prepare(loaded.program, job, trace.get("shop"))
    state, _ = begin(plan, Live(ADVISERS, job))
    for number, entry in enumerate(trace["run"], 1):
        view = show(plan, state, "1.1", ADVISERS)
        expected = {k: v for k, v in entry.items() if k not in ("answer", "refused")}
        shown = {
            k: _settings(plan, state) if k == "settings" else _shown(view, k, _taken(plan, state)) for k in expected
        }
        assert shown == expected, f"entry {number} of '{trace['that']}'"
        if "answer" not in entry:
            continue
        if "refused" in entry:
            with pytest.raises(AnswerRefused, match=entry["refused"]):
                admit(plan, state, _answer(entry["answer"]))
        else:
            event = admit(plan, state, _answer(entry["answer"]))
            state, _ = step(plan, state, event, Live(ADVISERS, job))
    assert state.end is not None or "end" not in trace["run"][-1]


def _taken(plan: Any, state: Any) -> dict[str, Any]:
    """Readings in force by name, in their declared units, for what a view does not show."""
    names = state.frame.names
    found = {}
    for name, reading in state.frame.at.file.procedure.readings.items():
        if name in names:
            found[name] = _plain(names[name], reading.type.unit)
    return found


def _settings(plan: Any, state: Any) -> dict[str, Any]:
    """The settings of the file in force, in their units."""
    file = state.frame.at.file
    return {n: _plain(s.value, file.procedure.settings[n].type.unit) for n, s in plan.settings[file.name].items()}


def _answer(said: Any) -> Answer:
    return Answer(done=True) if said == "done" else Answer(**said)


def _plain(value: Any, unit: str | None = None) -> Any:
    if isinstance(value, tuple | list):
        return [_plain(v, unit) for v in value]
    if isinstance(value, Fraction):
        number = from_base(value, unit) if unit else value
        return int(number) if number.denominator == 1 else float(number)
    return value


def _place(place: Place) -> str:
    return ".".join(str(x) for x in place if x is not None)


def _shown(view: View, key: str, taken: dict[str, Any]) -> Any:
    """One thing that a view shows, as a trace writes it."""
    match key:
        case "at":
            return view.step if view.file == view.procedure else f"{view.file}/{view.step}"
        case "end":
            return view.end.outcome if view.end else None
        case "say":
            return view.end.say if view.end else None
        case "asks":
            return [f"{a.name} x{a.count}" if a.each else a.name for a in view.read]
        case "question":
            return [a.ask for a in view.read]
        case "warns":
            return [c.text for c in view.cautions]
        case "gate":
            return [view.gate.say, view.gate.do] if view.gate else None
        case "reasons":
            return {a.name: list(a.reasons) for a in view.read if a.reasons}
        case "listed":
            return [a.name for a in view.read if a.listed]
        case "usual":
            return {name: _plain(value) for name, value in view.usual.items()}
        case "moves":
            return [_move(m) for m in view.moves]
        case "fit":
            return [f"{p.part} {_place(p.place)}: {_plain(p.size)}" for p in view.fit]
        case "cautions":
            return [f"{c.name}!" if c.understand else c.name for c in view.cautions]
        case "standing":
            return [c.name for c in view.standing]
        case "findings":
            return [" ".join([f.code, *(_place(p) for p in f.where)]) for f in view.findings]
        case "positions":
            return {r.name: _plain(r.positions) for r in view.screws}
        case "symptoms":
            return sorted(s.name for s in view.symptoms)
        case "state":
            return {k: _plain(v) for k, v in view.state.items()}
        case "here":
            return _place(view.here) if view.here else None
        case "wait":
            return _plain(view.wait.seconds) if view.wait else None
        case "taken":
            return taken
        case "found" | "left":
            lines = (view.end.as_found if key == "found" else view.end.as_left) if view.end else {}
            return {name: _line(line) for name, line in lines.items()}
        case "right":
            return _plain(view.read[0].healthy)
        case "sources":
            return {a.name: a.source for a in view.read}
        case "because":
            return list(view.because)
    return _plain(getattr(view, key))


def _line(line: Any) -> Any:
    values = _plain(tuple(line.values)) if hasattr(line, "values") else _plain(tuple(line.row))
    return values


def _move(move: Any) -> str:
    turns = "" if move.turns is None else f" {_plain(move.turns)}"
    to = "" if move.position is None else f" to {_plain(move.position)}"
    return f"{move.screw} {_place(move.place)}: {move.direction}{turns}{to}".replace(" :", ":")
