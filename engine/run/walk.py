"""From one answer to the next step that waits for one: what leaving, entering, calling and ending do; it reads no
input.

A walk works on its own copies and is frozen into a new state at its end. What a step does stands in `acts`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from engine.evidence import Advice, Finding, Place
from engine.procedure.program import MOST_SILENT, Call, End, FindingSpec, Guard
from engine.procedure.program import Advise as AdviseSpec
from engine.run import gate, record
from engine.run.acts import Exit
from engine.run.advice import Advise, request
from engine.run.layout import RunLayout, StepPlan
from engine.run.local import at_here, finding_of, in_order
from engine.run.moves import asked
from engine.run.scope import Scope, began, scope
from engine.run.state import (
    CallSite,
    Ending,
    Frame,
    Gate,
    Given,
    Made,
    Past,
    Raiser,
    Standing,
    State,
    by_order,
    standing,
)
from engine.run.texts import render, said


class Unsound(RuntimeError):
    """A program did what the checks exclude; the message says where."""


class Raised(NamedTuple):
    """An effect: a finding that did not stand before."""

    finding: Finding


class Advised(NamedTuple):
    """An effect: an adviser was asked and answered this."""

    name: str
    advice: Advice


class Ended(NamedTuple):
    """An effect: the run is over."""

    outcome: str


class Walk:
    """One walk. `past` is the answer that set it off, None at the start of a run."""

    def __init__(self, plan: RunLayout, state: State, advise: Advise, past: Past | None) -> None:
        self.plan, self.advise, self.past = plan, advise, past
        self.seq = state.seq + 1
        self.frame, self.world = state.frame, state.world
        self.findings: dict[Raiser, Standing] = dict(state.findings)
        self.record = state.record
        self.notes = state.notes
        self.visited, self.accepted = state.visited, state.accepted
        self.because: list[str] = []
        self.effects: list[Any] = []
        self.made: Made | None = None
        self.end: Ending | None = None
        self.gate: Gate | None = None
        self._passing = False

    # ---- what the answer does

    def own(self, values: Mapping[str, Any] | None = None) -> None:
        """Give the frame in force names of its own, which this walk may change."""
        self.frame = self.frame._replace(names={**self.frame.names, **(values or {})})

    def look(self) -> Scope:
        """What the frame in force reads, with the screws where they stand now."""
        return scope(self.frame, self.world.positions)

    def settle(self) -> None:
        """Pass every step that asks nothing, until one waits for an answer or the run is over."""
        for _ in range(MOST_SILENT):
            if not self._passing or self.end is not None or self.gate is not None:
                return
            self._passing = False
            self.leave({})
        at = self.frame.at
        raise Unsound(f"'{at.file.name}' passes {MOST_SILENT} steps up to '{at.name}' without asking anything.")

    def leave(self, readings: Mapping[str, Any]) -> None:
        """Everything that a step does on its answer, then the way on."""
        self.own(readings)
        at, look = self.frame.at, self.look()
        for act in at.leaving:
            act(self, look, readings)
        way = self._exit(at, look).target if isinstance(at.way, tuple) else at.way
        if self.plan.format >= gate.SINCE and self.findings:
            self.gate = gate.opened(self, way, look)
        if self.gate is None:
            self.follow(way, look)

    def _exit(self, at: StepPlan, look: Scope) -> Exit:
        for way in at.exits:
            if way.when is None or way.when(look.names):
                for act in way.acts:
                    act(self, look, {})
                return way
        raise Unsound(f"No branch of step '{at.name}' of '{at.file.name}' matches this answer.")

    def follow(self, way: StepPlan | Call | End, look: Scope) -> None:
        """Go on: into a step, a call, or out by an end."""
        if isinstance(way, Call):
            self.call(way)
        elif isinstance(way, End):
            self._finish(self.frame.at.name, way, look)
        else:
            self.enter(way)

    # ---- the acts of a step

    def give(self, look: Scope, name: str, value: Any) -> None:
        """Let the frame know a value by name from here on."""
        look.names[name] = self.frame.names[name] = value

    def keep_record(self, which: str, readings: Mapping[str, Any]) -> None:
        """Take as found or as left."""
        self.record = record.take(self.plan, self.record, which, self.frame, readings, self.world, self.past)

    def say(self, why: str, look: Scope) -> None:
        """Say why this way was taken."""
        self.because.append(said(why, look.names))

    def ask(self, spec: AdviseSpec, look: Scope) -> None:
        """Ask an adviser, where the step's condition holds."""
        if spec.when is not None and not spec.when.run(look.names):
            return
        advice = self.advise(request(spec, look, self.world, self.past, self._standing()))
        for output, value in advice.outputs.items():
            self.give(look, f"{spec.name}.{output}", value)
        older = tuple(g for g in self.frame.advice if g.name != spec.name)
        self.frame = self.frame._replace(advice=(Given(spec.name, advice, False), *older))
        before = {(f.code, f.where) for f in self._standing()}
        raiser = Raiser("adviser", spec.adviser, self.frame.here)
        self.findings.pop(raiser, None)
        found = tuple(replace(f, source=f.source or spec.adviser) for f in advice.findings)
        if found:
            self.findings[raiser] = Standing(self._next_order(), found)
        self.effects.append(Advised(spec.name, advice))
        self.effects += [Raised(f) for f in found if (f.code, f.where) not in before]

    def _next_order(self) -> int:
        return 1 + max((group.order for group in self.findings.values()), default=0)

    def _standing(self) -> tuple[Finding, ...]:
        return tuple(f for group in sorted(self.findings.values(), key=by_order) for f in group.findings)

    def find(self, spec: FindingSpec, look: Scope) -> None:
        """Raise a finding of the file, where it holds."""
        finding = finding_of(spec, look)
        if finding is not None:
            raiser = Raiser("file", spec.code, finding.where)
            known = self.findings.get(raiser)
            if known is None:
                self.effects.append(Raised(finding))
            self.findings[raiser] = Standing(known.order if known else self._next_order(), (finding,))

    def clear(self, code: str) -> None:
        """Clear a finding of the file."""
        for raiser in [r for r in self.findings if r.by == "file" and r.name == code]:
            del self.findings[raiser]

    def make_made(self) -> None:
        """The moves and parts of the advice that the step in force makes were made: they are not to be made again."""
        name = self.frame.at.step.make
        self.frame = self.frame._replace(advice=made(self.frame.advice, name))

    # ---- entering

    def enter(self, at: StepPlan, made: Made | None = None) -> None:
        """Enter a step of the frame in force: count the visit, set how things stand, and see whether it asks
        anything.
        """
        frame = self.frame
        for _ in range(len(at.file.steps)):
            limit = at.limit
            if limit is None or frame.visits.get(at.name, 0) < limit.visits:
                break
            self.because.append(
                f"'{at.step.title}' came {limit.visits} time{'' if limit.visits == 1 else 's'}, and is not tried again."
            )
            at, made = at.file.steps[limit.then], None
        self.frame = frame._replace(at=at, visits={**frame.visits, at.name: frame.visits.get(at.name, 0) + 1})
        self.made = made
        if at.entering:
            look = self.look()
            for act in at.entering:
                act(self, look, {})
        self._passing = at.waits == "never" or (at.waits == "perhaps" and not self._asks())

    def set_state(self, state: Mapping[str, str | Guard], look: Scope) -> None:
        """Set how things must stand from here on."""
        old, new = self.world.conditions, dict(self.world.conditions)
        for key, value in state.items():
            new[key] = value if isinstance(value, str) else value.run(look.names)
            if new[key] == "none":
                new[key] = None
        if state.get("engine") == "stopped" and new.get("hold") is not None and "hold" not in state:
            new["hold"] = None
        fresh = {k: v for k, v in new.items() if old.get(k) != v}
        if not fresh:
            return
        changed = tuple(dict.fromkeys((*self.world.changed, *fresh)))
        # Runs of the first format asked for a danger at every start; since then once a run, and after a pause.
        again = self.plan.format < gate.SINCE and any(f"{k}: {v}" in self.plan.demanded for k, v in fresh.items())
        # What is put on or taken off (a linkage) changes what each screw does, so what was learnt of it no longer
        # holds.
        epoch = self.world.epoch + any(v in ("on", "off") and old.get(k) is not None for k, v in fresh.items())
        self.world = self.world._replace(
            conditions=new, changed=changed, epoch=epoch, understood=frozenset() if again else self.world.understood
        )

    def _asks(self) -> bool:
        """Whether a step that may wait does so now: a reading is wanted, or there is something to turn or to fit."""
        reads = self.frame.at.reads
        if reads:
            names = self.look().names
            if any(r.when is None or r.when(names) for r in reads):
                return True
        return any(asked(self.plan, self._frozen()))

    # ---- calls and ends

    def call(self, spec: Call, symptom: bool = False, made: bool = True) -> None:
        """Follow another file, once or once a place. `made`: whether the moves of the step that a symptom broke
        into were.
        """
        places: tuple[Place | None, ...] = (None,)
        if spec.each is not None:
            places = in_order(spec, self.look())
            if not places:
                self._after_last(spec)
                return
        self._descend(CallSite(spec, places, 0, {}, symptom, made))

    def _descend(self, site: CallSite) -> None:
        spec, caller = site.spec, self.frame
        file = self.plan.files[spec.file]
        here = site.places[site.turn] or (caller.here if file.procedure.here else None)
        outer = scope(caller, self.world.positions)
        inner = began(file, here)
        for name, guard in spec.bindings.items():
            inner[name] = at_here(guard, outer, here)
        start = file.steps[file.start]
        self.frame = Frame(start, inner, (), {}, here, caller, site)
        self.enter(start)

    def _finish(self, name: str, end: End, look: Scope) -> None:
        frame = self.frame
        say = render(end.say, look)
        if frame.caller is None or frame.site is None:
            self.end_run(end.outcome, say)
            return
        if say:
            self.because.append(say)
        self._return(name, look)

    def leave_call(self, outer: Frame) -> None:
        """Go back to an outer frame; the visits of the calls that end so are counted on for the run."""
        visited = dict(self.visited)
        frame: Frame | None = self.frame
        while frame is not None and frame is not outer:
            for step, count in frame.visits.items():
                key = f"{frame.at.file.name}.{step}"
                visited[key] = visited.get(key, 0) + count
            frame = frame.caller
        self.visited = visited
        self.frame = outer

    def _return(self, end: str, look: Scope) -> None:
        """Back to the caller with the results, and on by the end that was reached."""
        frame, site = self.frame, self.frame.site
        assert site is not None and frame.caller is not None
        spec, place = site.spec, site.places[site.turn]
        results = dict(site.results)
        for name, guard in frame.at.file.procedure.gives.items():
            results[name] = {**results.get(name, {}), place: guard.run(look.names)}
        self.leave_call(frame.caller)
        if spec.name:
            self.own()
            outer = self.frame.names
            row = self.plan.bank.places(spec.each, self.frame.here) if spec.each else None
            for name, by_place in results.items():
                outer[f"{spec.name}.{name}"] = (
                    by_place.get(None) if row is None else tuple(by_place.get(p) for p in row)
                )
        target = spec.ends.get(end, end)
        if target == "next":
            self._next(site._replace(turn=site.turn + 1, results=results))
        elif target == "back":
            # Its moves were made when the symptom was given; they are not to be made twice.
            made = Made((), (), self.world.positions) if site.made else None
            self.enter(self.frame.at, made)
        else:
            self.enter(self.frame.at.file.steps[target])

    def _next(self, site: CallSite) -> None:
        if site.turn < len(site.places):
            self._descend(site)
        else:
            self._after_last(site.spec)

    def _after_last(self, spec: Call) -> None:
        if spec.go is None:
            raise Unsound(f"The call of '{spec.file}' does not say where to go after its last place.")
        self.enter(self.frame.at.file.steps[spec.go])

    def end_run(self, outcome: str, say: str) -> None:
        """End the run; well only where nothing grave stands."""
        grave = [f for f in standing(self._frozen()) if f.severity in ("change part", "stop")]
        if outcome == "ok" and grave:
            outcome = "stopped"
            say = " ".join(["This has to be put right first:", *dict.fromkeys(f.say for f in grave)])
        self.end = Ending(outcome, say)
        self.effects.append(Ended(outcome))

    # ---- the result

    def _frozen(self) -> State:
        return State(
            self.seq,
            self.frame,
            self.made,
            self.world,
            self.findings,
            self.record,
            self.past,
            None,
            self.notes,
            tuple(self.because),
            self.end,
            None,
            self.visited,
            self.gate,
            self.accepted,
        )

    def result(self) -> tuple[State, tuple[Any, ...]]:
        """The new state and what happened on the way."""
        return self._frozen(), tuple(self.effects)


def made(advice: tuple[Given, ...], name: str | None) -> tuple[Given, ...]:
    """The advice of a frame, the one under this name made."""
    return tuple(g._replace(made=True) if g.name == name else g for g in advice)
