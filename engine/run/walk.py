"""From one answer to the next step that waits for one: what leaving, entering, calling and ending do; it reads no
input.

A walk works on its own copies and is frozen into a new state at its end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from engine.evidence import Advice, Finding, Place
from engine.procedure.program import MOST_SILENT, Branch, Call, End, FindingSpec
from engine.procedure.program import Advise as AdviseSpec
from engine.run import record
from engine.run.advice import Advise, request
from engine.run.layout import RunLayout, StepPlan
from engine.run.local import at_here, finding_of, in_order
from engine.run.moves import asked
from engine.run.names import Names, again, named
from engine.run.state import CallSite, Ending, Frame, Made, Past, State, standing
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
        self.findings: dict[tuple[Any, ...], tuple[Finding, ...]] = dict(state.findings)
        self.record = state.record
        self.notes = state.notes
        self.visited = state.visited
        self.because: list[str] = []
        self.effects: list[Any] = []
        self.made: Made | None = None
        self.end: Ending | None = None
        self._passing = False

    # ---- what the answer does

    def own(self, values: Mapping[str, Any] | None = None) -> Names:
        """Names of the frame in force that this walk may change, with the screws where they stand now."""
        names = again(self.frame.env, self.world.positions)
        if values:
            names.update(values)
        self.frame = self.frame._replace(env=names)
        return names

    def settle(self) -> None:
        """Pass every step that asks nothing, until one waits for an answer or the run is over."""
        for _ in range(MOST_SILENT):
            if not self._passing or self.end is not None:
                return
            self._passing = False
            self.leave(self.own(), {})
        at = self.frame.at
        raise Unsound(f"'{at.file.name}' passes {MOST_SILENT} steps up to '{at.name}' without asking anything.")

    def leave(self, names: Names, readings: Mapping[str, Any]) -> None:
        """Everything that a step does on its answer, then the way on."""
        at, step = self.frame.at, self.frame.at.step
        for name, guard in step.keep:
            names[name] = guard.run(names)
        for spec in step.advise:
            if spec.when is None or spec.when.run(names):
                self._ask(spec, names)
        if step.record:
            self.record = record.take(self.plan, self.record, step.record, self.frame, readings, self.world, self.past)
        for code in step.clear:
            self._clear(code)
        for finding in step.findings:
            self._raise(finding, names)
        self._way_on(at, names)

    def _way_on(self, at: StepPlan, names: Names) -> None:
        way = at.step.way
        if isinstance(way, Call):
            self.call(way)
        elif isinstance(way, End):
            self._finish(at.name, way, names)
        elif isinstance(way, str):
            self.enter(at.file.steps[way])
        else:
            self._branch(at, way, names)

    def _branch(self, at: StepPlan, branches: tuple[Branch, ...], names: Names) -> None:
        for branch in branches:
            if branch.when is None or branch.when.run(names):
                for finding in branch.findings:
                    self._raise(finding, names)
                if branch.why:
                    self.because.append(said(branch.why, names))
                self.enter(at.file.steps[branch.go])
                return
        raise Unsound(f"No branch of step '{at.name}' of '{at.file.name}' matches this answer.")

    # ---- advice and findings

    def _ask(self, spec: AdviseSpec, names: Names) -> None:
        advice = self.advise(request(spec, names, self.world, self.past, self._standing()))
        for output, value in advice.outputs.items():
            names[f"{spec.name}.{output}"] = value
        for key in (f"advice:{spec.name}", f"make:{spec.name}"):
            names.pop(key, None)
            names[key] = advice
        here = self.frame.here
        before = {(f.code, f.where) for f in self._standing()}
        key = ("adviser", spec.adviser, here)
        self.findings.pop(key, None)
        if advice.findings:
            self.findings[key] = tuple(replace(f, source=f.source or spec.adviser) for f in advice.findings)
        self.effects.append(Advised(spec.name, advice))
        self.effects += [Raised(f) for f in self.findings.get(key, ()) if (f.code, f.where) not in before]

    def _standing(self) -> tuple[Finding, ...]:
        return tuple(f for group in self.findings.values() for f in group)

    def _raise(self, spec: FindingSpec, names: Names) -> None:
        finding = finding_of(spec, names)
        if finding is not None:
            key = ("file", spec.code, finding.where)
            if key not in self.findings:
                self.effects.append(Raised(finding))
            self.findings[key] = (finding,)

    def _clear(self, code: str) -> None:
        for key in [k for k in self.findings if k[0] == "file" and k[1] == code]:
            del self.findings[key]

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
                f"'{at.step.title}' was visited {limit.visits} times, the most that the procedure allows."
            )
            at, made = at.file.steps[limit.then], None
        self.frame = frame._replace(at=at, visits={**frame.visits, at.name: frame.visits.get(at.name, 0) + 1})
        self.made = made
        if at.step.state:
            self._set_state(at)
        self._passing = not self._waits()

    def _set_state(self, at: StepPlan) -> None:
        names = again(self.frame.env, self.world.positions)
        old, new = self.world.conditions, dict(self.world.conditions)
        for key, value in at.step.state.items():
            new[key] = value if isinstance(value, str) else value.run(names)
            if new[key] == "none":
                new[key] = None
        if at.step.state.get("engine") == "stopped" and new.get("hold") is not None and "hold" not in at.step.state:
            new["hold"] = None
        fresh = {k: v for k, v in new.items() if old.get(k) != v}
        if not fresh:
            return
        changed = tuple(dict.fromkeys((*self.world.changed, *fresh)))
        start = any(f"{k}: {v}" in self.plan.demanded for k, v in fresh.items())
        # What is put on or taken off (a linkage) changes what each screw does, so what was learnt of it no longer
        # holds.
        epoch = self.world.epoch + any(v in ("on", "off") and old.get(k) is not None for k, v in fresh.items())
        self.world = self.world._replace(
            conditions=new, changed=changed, epoch=epoch, understood=frozenset() if start else self.world.understood
        )

    def _waits(self) -> bool:
        """Whether the step entered says, makes or reads something; else it passes silently."""
        step = self.frame.at.step
        if step.do or step.wait or step.caution:
            return True
        names = None
        for read in self.frame.at.reads:
            if read.when is None:
                return True
            names = names or again(self.frame.env, self.world.positions)
            if read.when(names):
                return True
        return bool((step.moves or step.make or step.fit) and any(asked(self.plan, self._frozen())))

    # ---- calls and ends

    def call(self, spec: Call, symptom: bool = False, made: bool = True) -> None:
        """Follow another file, once or once a place. `made`: whether the moves of the step that a symptom broke
        into were.
        """
        places: tuple[Place | None, ...] = (None,)
        if spec.each is not None:
            places = in_order(spec, again(self.frame.env, self.world.positions))
            if not places:
                self._after_last(spec)
                return
        self._descend(CallSite(spec, places, 0, {}, symptom, made))

    def _descend(self, site: CallSite) -> None:
        spec, caller = site.spec, self.frame
        file = self.plan.files[spec.file]
        here = site.places[site.index] or (caller.here if file.procedure.here else None)
        outer = again(caller.env, self.world.positions)
        inner = named(file, here, self.world.positions)
        for name, guard in spec.bindings.items():
            inner[name] = at_here(guard, outer, here)
        start = file.steps[file.start]
        self.frame = Frame(start, inner, {}, here, caller, site)
        self.enter(start)

    def _finish(self, name: str, end: End, names: Names) -> None:
        frame = self.frame
        say = render(end.say, names)
        if frame.caller is None or frame.site is None:
            self._end_run(end.outcome, say)
            return
        if say:
            self.because.append(say)
        self._return(name, names)

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

    def _return(self, end: str, names: Names) -> None:
        """Back to the caller with the results, and on by the end that was reached."""
        frame, site = self.frame, self.frame.site
        assert site is not None and frame.caller is not None
        spec, place = site.spec, site.places[site.index]
        results = dict(site.results)
        for name, guard in frame.at.file.procedure.gives.items():
            results[name] = {**results.get(name, {}), place: guard.run(names)}
        self.leave_call(frame.caller)
        if spec.name:
            outer = self.own()
            row = self.plan.bank.places(spec.each, self.frame.here) if spec.each else None
            for name, by_place in results.items():
                outer[f"{spec.name}.{name}"] = (
                    by_place.get(None) if row is None else tuple(by_place.get(p) for p in row)
                )
        target = spec.ends.get(end, end)
        if target == "next":
            self._next(site._replace(index=site.index + 1, results=results))
        elif target == "back":
            # Its moves were made when the symptom was given; they are not to be made twice.
            made = Made((), (), self.world.positions) if site.made else None
            self.enter(self.frame.at, made)
        else:
            self.enter(self.frame.at.file.steps[target])

    def _next(self, site: CallSite) -> None:
        if site.index < len(site.places):
            self._descend(site)
        else:
            self._after_last(site.spec)

    def _after_last(self, spec: Call) -> None:
        if spec.go is None:
            raise Unsound(f"The call of '{spec.file}' does not say where to go after its last place.")
        self.enter(self.frame.at.file.steps[spec.go])

    def _end_run(self, outcome: str, say: str) -> None:
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
        )

    def result(self) -> tuple[State, tuple[Any, ...]]:
        """The new state and what happened on the way."""
        return self._frozen(), tuple(self.effects)
