"""Walks a procedure by answers drawn at the boundaries of its guards until every way out of every step was taken.

The advisers are stood in for by ones that say anything that their contract allows, so that every verdict is met; called
files by stubs that reach any of their ends. It knows no procedure: what it tries comes from the file that it walks.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from engine.contract import Adviser, Registry
from engine.evidence import Evidence, Inputs, Move, Part, Place
from engine.job.model import Job
from engine.judgement import Judgement
from engine.procedure.language.expr import Number, Type
from engine.procedure.program import Branch, Call, Guard, Procedure, Program, Reading, Step
from engine.quantity.units import from_base
from engine.run import walk
from engine.run.machine import way_of
from engine.session.session import Answer, Session

#: One way out of a step: (file, step, what), `what` being "branch 2", "then", "end left", "symptom stall", ...
Way = tuple[str, str, str]


def ways_of(program: Program) -> set[Way]:
    """Every way out of every step of every file of a program."""
    found: set[Way] = set()
    for file in program.files.values():
        for symptom in file.symptoms.values():
            found |= _symptom_ways(file.name, "*", symptom.name, symptom.way)
        for step in file.steps.values():
            found |= set(_step_ways(file.name, step))
    return found


def _step_ways(file: str, step: Step) -> Iterator[Way]:
    if step.limit:
        yield file, step.name, "then"
    if isinstance(step.way, Call):
        yield from ((file, step.name, f"end {end}") for end in step.way.ends)
    elif isinstance(step.way, tuple):
        yield from ((file, step.name, f"branch {i}") for i in range(len(step.way)))
    else:
        yield file, step.name, "passed"
    for name, way in step.symptoms.items():
        yield from _symptom_ways(file, step.name, name, way)


def _symptom_ways(file: str, step: str, name: str, way: Any) -> set[Way]:
    if way is None:
        return set()
    found = {(file, step, f"symptom {name}")}
    if isinstance(way, Call):
        found |= {(file, step, f"symptom {name}, end {end}") for end in way.ends}
        if way.limit:
            found.add((file, step, f"symptom {name}, then"))
    return found


class Recorder:
    """Notes every way that is taken: guards of branches by wrapping them, calls and limits by listening to the walk."""

    def __init__(self, monkeypatch: Any) -> None:
        self.taken: Counter[Way] = Counter()
        enter, back = walk.Walk.enter, walk.Walk._return

        def entered(this: walk.Walk, at: Any, *args: Any, **more: Any) -> Any:
            found = at
            while found.limit is not None and this.frame.visits.get(found.name, 0) >= found.limit.visits:
                self.taken[found.file.name, found.name, "then"] += 1
                found = found.file.steps[found.limit.then]
            if not isinstance(found.step.way, tuple | Call):
                self.taken[found.file.name, found.name, "passed"] += 1
            return enter(this, at, *args, **more)

        def returned(this: walk.Walk, end: str, *args: Any, **more: Any) -> Any:
            site, caller = this.frame.site, this.frame.caller
            if site.symptom:
                symptom, (file, step) = self._asked[-1]
                self.taken[file, step, f"symptom {symptom}, end {end}"] += 1
            else:
                self.taken[caller.at.file.name, caller.at.name, f"end {end}"] += 1
            return back(this, end, *args, **more)

        self._asked: list[tuple[str, tuple[str, str]]] = [("", ("", ""))]
        monkeypatch.setattr(walk.Walk, "enter", entered)
        monkeypatch.setattr(walk.Walk, "_return", returned)

    def listening(self, program: Program) -> Program:
        """The program with the guards of its branches telling which was true."""
        files = {
            n: replace(p, steps={s: self._step(n, step) for s, step in p.steps.items()})
            for n, p in program.files.items()
        }
        return replace(program, files=files)

    def _step(self, file: str, step: Step) -> Step:
        if not isinstance(step.way, tuple):
            return step
        return replace(step, way=tuple(self._branch((file, step.name), i, step.way) for i in range(len(step.way))))

    def _branch(self, at: tuple[str, str], i: int, way: tuple[Branch, ...]) -> Branch:
        branch = way[i]
        if branch.when is None:
            return branch
        guard = branch.when
        after = way[i + 1] if i + 1 < len(way) else None

        def run(names: Mapping[str, Any]) -> Any:
            true = guard.run(names)
            if true:
                self.taken[*at, f"branch {i}"] += 1
            elif after is not None and after.when is None:
                self.taken[*at, f"branch {i + 1}"] += 1
            return true

        return replace(branch, when=replace(guard, run=run))

    @property
    def asked(self) -> int:
        """How many symptoms were given, of which one may still be gone into."""
        return len(self._asked)

    def back_to(self, asked: int) -> None:
        """Forget the symptoms that were given since there were so many: what was answered then is struck."""
        del self._asked[asked:]

    def symptom(self, session: Session, name: str) -> Way:
        """Note that a symptom is about to be given; returns the way that it is."""
        found = way_of(session.state.frame, name)
        assert found is not None
        frame, way = found
        own = name in frame.at.step.symptoms
        at = (frame.at.file.name, frame.at.name if own else "*")
        what = f"symptom {name}"
        if isinstance(way, Call):
            if way.limit and frame.visits.get(what.replace(" ", ":"), 0) >= way.limit.visits:
                what += ", then"
            else:
                self._asked.append((name, at))
        self.taken[*at, what] += 1
        return (*at, what)


class Mood:
    """What a run keeps to, so that loops are gone round until their limits: drawn anew for every run."""

    def __init__(self, rng: random.Random, said: Counter[Any]) -> None:
        self.rng, self.said = rng, said
        self.stubborn = rng.random() < 0.6
        #: Most answers those of a sound engine: such runs get deep.
        self.sound = rng.random() < 0.5
        self.kept: dict[Any, Any] = {}
        self.presses = rng.random() < 0.5
        #: Half of those who press do it at one step only, where they first did.
        self.one_place = rng.random() < 0.5
        self.symptom: str | None = None
        self.pressed_at = ""
        self.end: str | None = None
        self.press = 0.9

    @classmethod
    def set_on(cls, rng: random.Random, said: Counter[Any], symptom: str, at: str, end: str | None) -> Mood:
        """The mood of pressing one symptom at one step whenever it comes, its call always reaching the same end."""
        mood = cls(rng, said)
        mood.stubborn = mood.presses = mood.one_place = mood.sound = True
        mood.symptom, mood.pressed_at, mood.end, mood.press = symptom, at, end, 1.0
        return mood

    def choose(self, key: Any, options: Sequence[Any]) -> Any:
        """One of the options: the one said least so far, and mostly the same again in a stubborn run."""
        if self.end in options:
            return self.end
        if self.end is not None and "turn" in options and self.rng.random() < 0.9:
            return "turn"
        if self.stubborn and key in self.kept and self.kept[key] in options and self.rng.random() < 0.97:
            return self.kept[key]
        word = min(options, key=lambda o: (self.said[key, o], self.rng.random()))
        self.said[key, word] += 1
        self.kept[key] = word
        return word


class AnyAdvice:
    """A registry whose advisers say anything that their contract allows, and turn the screws bound to them."""

    def __init__(self, registry: Registry, rng: random.Random) -> None:
        self.rng, self.mood = rng, Mood(rng, Counter())
        self.registry: dict[str, Adviser] = {n: replace(a, run=self._runs(a)) for n, a in registry.items()}

    def _runs(self, adviser: Adviser) -> Any:
        def run(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
            at = evidence.answers[-1].file if evidence.answers else ""
            out = {n: self._one((adviser.name, at, n), o.type, job) for n, o in adviser.outputs.items()}
            parts = (Part("idle jet", Place(1, 1), Fraction(self.rng.choice((45, 50, 55)))),)
            return Judgement(
                out,
                tuple(self._moves(inputs)),
                parts if "parts" in adviser.makes else (),
            )

        return run

    def _moves(self, inputs: Inputs) -> Iterator[Move]:
        for screw in inputs.screws.values():
            if screw.positions and screw.each in ("carb", "barrel"):
                way = self.mood.choose(("way", screw.name), ("out", "in"))
                effect = screw.outward if way == "out" else screw.inward
                yield Move(screw.name, Place(1, 1 if screw.each == "barrel" else None), way, effect, Fraction(1, 2))

    def _one(self, key: Any, kind: Type, job: Job) -> Any:
        count = job.bank.count(kind.each, job.engine.cylinders) if kind.each else 0
        return tuple(self._single(key, kind) for _ in range(count)) if kind.each else self._single(key, kind)

    def _single(self, key: Any, kind: Type) -> Any:
        if kind.kind == "choice":
            return self.mood.choose(key, kind.choices)
        if kind.kind == "bool":
            return self.mood.choose(key, (True, False))
        ends = (kind.low, kind.high, Fraction(0))
        return self.mood.choose(key, [v for v in ends if v is not None and kind.low <= v <= kind.high])


def numbers(procedure: Procedure, reading: Reading, names: Mapping[str, Any]) -> list[Fraction]:
    """Values (base unit) worth trying: both ends, the healthy middle and shares of it, every setting and fact of its
    kind, and a step either side of each."""
    kind = reading.type
    assert kind.low is not None and kind.high is not None
    step, middle = reading.step or (kind.high - kind.low) / 100, _middle(reading, names)
    known = [*procedure.settings, *(n for n, f in procedure.facts.items() if f.type.kind == "number")]
    types = {n: (procedure.settings.get(n) or procedure.facts[n]).type.dimension for n in known}
    near = [names[n] for n in known if types[n] == kind.dimension]
    near += [middle * names[n] for n in known if types[n] == "number" and 0 < names[n] < 1]
    near += list(_constants(procedure))
    values = {kind.low, kind.high, middle}
    values |= {w for v in near for w in (v - step, v, v + step, -v - step, -v)}
    return sorted(v for v in values if kind.low <= v <= kind.high)


def _constants(procedure: Procedure) -> Iterator[Fraction]:
    for step in procedure.steps.values():
        if isinstance(step.way, tuple):
            for branch in step.way:
                if branch.when is not None:
                    yield from (n.value for n in _literals(branch.when.node))


def _literals(node: Any) -> Iterator[Number]:
    if isinstance(node, Number):
        yield node
    for name in getattr(node, "__slots__", ()) or getattr(type(node), "__dataclass_fields__", ()):
        inner = getattr(node, name, None)
        for one in inner if isinstance(inner, tuple) else (inner,):
            if hasattr(one, "start"):
                yield from _literals(one)


def _middle(reading: Reading, names: Mapping[str, Any]) -> Fraction:
    kind, healthy = reading.type, reading.healthy
    if isinstance(healthy, tuple):
        low, high = (end.run(names) if isinstance(end, Guard) else end for end in healthy)
        return ((kind.low if low is None else low) + (kind.high if high is None else high)) / 2
    return (kind.low + kind.high) / 2


#: How often a run is taken back to one step: a loop that is rarely gone round is followed to its limit so.
TRIES = 25


def _standing(frame: Any) -> Iterator[tuple[str, str]]:
    """The step in force, and those that called its file: file and name of each."""
    while frame is not None:
        yield frame.at.file.name, frame.at.name
        frame = frame.caller


class Explorer:
    """Runs a program on jobs, towards what was said least, in another mood each time."""

    def __init__(self, recorder: Recorder, advice: AnyAdvice, rng: random.Random) -> None:
        self.recorder, self.advice, self.rng = recorder, advice, rng
        self.said: Counter[Any] = Counter()
        self.mood = Mood(rng, self.said)

    def run(
        self, session: Session, mood: Mood | None = None, left: Callable[[], Iterable[Way]] = tuple, most: int = 500
    ) -> Session:
        """Answer until the run ends, or `most` answers were given. Where it ends it is taken back to the last step that
        has a way `left`, and goes on from there in another mood: so what stands far down a run, or at a loop's limit,
        need not be met anew from the start."""
        self.mood = self.advice.mood = mood or Mood(self.rng, self.said)
        path: list[tuple[int, int, set[tuple[str, str]]]] = []
        tried: Counter[tuple[str, str]] = Counter()
        for _ in range(most):
            if session.over:
                steps = {(file, step) for file, step, _ in left() if tried[file, step] < TRIES}
                back = next((i for i in reversed(range(len(path))) if path[i][2] & steps), None)
                if back is None:
                    break
                tried.update(path[back][2] & steps)
                self.recorder.back_to(path[back][1])
                assert session.answer(Answer(strike=path[back][0])).recorded is not None
                del path[back:]
                kept = mood if mood is not None and self.rng.random() < 0.5 else Mood(self.rng, self.said)
                self.mood = self.advice.mood = kept
                continue
            stands, asked = set(_standing(session.state.frame)), self.recorder.asked
            answer = self._answer(session)
            reply = session.answer(answer)
            assert reply.recorded is not None, f"{session.state.frame.at.key} refused {answer}: {reply.problem}"
            path.append((reply.recorded, asked, stands))
        return session

    def _answer(self, session: Session) -> Answer:
        view, mood, at = session.view, self.mood, session.state.frame.at
        if view.gate is not None:
            way = self.rng.choice(view.gate.choices) if self.rng.random() < 0.1 else "go on knowingly"
            return Answer(gate=way, reason="to see the rest")
        offered = [s.name for s in view.symptoms]
        rare = [n for n in at.step.symptoms if not self.recorder.taken[at.file.name, at.name, f"symptom {n}"]]
        if rare and self.rng.random() < 0.3:
            self.recorder.symptom(session, rare[0])
            return Answer(symptom=rare[0], understood=True)
        ready = mood.symptom in offered and (not mood.one_place or mood.pressed_at == at.key)
        chance = mood.press if ready else 0.15 if mood.symptom is None else 0.0
        if mood.presses and offered and self.rng.random() < chance:
            if mood.symptom is None:
                mood.symptom, mood.pressed_at = mood.choose((at.key, "symptom"), offered), at.key
            self.recorder.symptom(session, mood.symptom)
            return Answer(symptom=mood.symptom, understood=True)
        if not view.read:
            return Answer(done=True, understood=True)
        names = session.state.frame.names
        frame = session.state.frame
        of = frame.caller.at.key if frame.caller else names.get("here")
        file = at.file.procedure
        return Answer(readings={a.name: self._value(file, a, names, of) for a in view.read}, understood=True)

    def _value(self, file: Procedure, ask: Any, names: Mapping[str, Any], of: Any) -> Any:
        reading, unit = file.readings[ask.name], ask.unit or ""
        values = list(ask.choices) if ask.choices else [from_base(v, unit) for v in numbers(file, reading, names)]
        sound = values[0] if ask.choices else from_base(_middle(reading, names), unit)
        sure = 0.6 if ask.name == "reached" else 0.85
        if self.rng.random() < (sure if self.mood.sound and self.mood.end not in values else 0.3 * (not ask.choices)):
            best = sound
        else:
            best = self.mood.choose((file.name, ask.name, of, names.get("here")), values)
        if ask.each is None:
            return best
        row = [best if self.rng.random() < 0.5 else sound] * ask.count
        if ask.count:
            row[self.rng.randrange(ask.count)] = best
            if ask.may_lack and self.rng.random() < 0.2:
                row[self.rng.randrange(ask.count)] = None
        return row


def presses(procedure: Procedure) -> Iterator[tuple[str, str, str | None]]:
    """Every symptom at every step that asks something, with every end of the file that it calls."""
    for step in procedure.steps.values():
        if isinstance(step.way, Call) or step.silent:
            continue
        for name in dict.fromkeys((*procedure.symptoms, *step.symptoms)):
            way = step.symptoms.get(name) or procedure.symptoms[name].way
            for end in way.ends if isinstance(way, Call) else ("turn",):
                yield name, f"{procedure.name}.{step.name}", end


def missing(program: Program, taken: Iterable[Way], files: Iterable[str] | None = None) -> list[Way]:
    """The ways of a program that were not taken, of all its files or of some."""
    wanted = ways_of(program)
    names = set(files) if files is not None else set(program.files)
    return sorted(w for w in wanted - set(taken) if w[0] in names)


def stub(procedure: Procedure) -> str:
    """A file that takes the place of a called one: it asks which of its ends is reached, and what it gives."""
    at, ends = procedure.layout, list(procedure.ends)
    (few, most), (one, more) = at.carbs, at.barrels_per_carb
    lines = [
        f"procedure: {procedure.name}",
        f"title: Stands for {procedure.name}",
        "revision: 1",
        f"for: {{family: any, carbs: {{from: {few}, to: {most}}}, barrels_per_carb: {{from: {one}, to: {more}}}}}",
    ]
    if procedure.here:
        lines.append(f"here: {procedure.here}")
    if procedure.settings:
        lines.append("settings:")
        lines += [
            f"  {s.name}: {{value: {_plain(s)}, range: [{_number(s.type.low, s)}, {_number(s.type.high, s)}], "
            "source: stub}"
            for s in procedure.settings.values()
        ]
    if procedure.parameters:
        lines.append("parameters:")
        for q in procedure.parameters.values():
            if q.type.choices:
                kind, given = f"choices: {list(q.type.choices)}", q.default
            elif q.type.kind == "bool":
                kind, given = "yes_no: true", str(bool(q.default)).lower()
            else:
                span = f"[{_number(q.type.low, q)}, {_number(q.type.high, q)}]"
                kind, given = f"unit: {q.type.unit}, range: {span}", _number(q.default, q)
            lines.append(f"  {q.name}: {{{kind}, default: {given}}}")
    lines += ["readings:", f"  reached: {{ask: Which end?, choices: [{', '.join(ends)}, nothing]}}"]
    lines += [f"  {n}_given: {_asked(g.type)}" for n, g in procedure.gives.items()]
    if procedure.gives:
        lines += ["gives:", *(f"  {n}: {_given(n, g.type)}" for n, g in procedure.gives.items())]
    lines += [
        "start: ask_end",
        "steps:",
        "  ask_end:",
        "    do: Say which end is reached.",
        f"    read: [reached{''.join(f', {n}_given' for n in procedure.gives)}]",
        "    branch:",
    ]
    lines += [f"      - {{when: reached == '{e}', go: {e}}}" for e in ends]
    lines += [f"      - {{otherwise: {ends[0]}}}"]
    lines += [f"  {e}: {{end: {procedure.ends[e].outcome}, say: Reached.}}" for e in ends]
    return "\n".join(lines) + "\n"


def _plain(setting: Any) -> str:
    value = setting.value if setting.value is not None else next(iter(setting.table.values()))
    return _number(value, setting)


def _number(value: Fraction, setting: Any) -> str:
    unit = setting.type.unit or ""
    shown = from_base(value, unit)
    return f"{float(shown):.6f} {unit}".strip()


def _asked(kind: Type) -> str:
    words = kind.choices if kind.kind == "choice" else ("yes it is", "no it is not")
    return "{ask: What does it give?, choices: ['" + "', '".join(words) + "']}"


def _given(name: str, kind: Type) -> str:
    if kind.kind == "bool":
        return f"{name}_given == 'yes it is'"
    return f"{{is: {name}_given, choices: ['" + "', '".join(kind.choices) + "']}"


def sound_answer(view: Any) -> Answer:
    """The answer of a sound engine to a step: the healthy choice, the middle of the healthy range."""
    readings = {}
    for ask in view.read:
        if ask.choices:
            one: Any = ask.healthy if isinstance(ask.healthy, str) else ask.choices[0]
        else:
            low, high = ask.healthy if isinstance(ask.healthy, tuple) else ask.range
            one = ((ask.range[0] if low is None else low) + (ask.range[1] if high is None else high)) / 2
        readings[ask.name] = one if ask.each is None else [one] * ask.count
    return Answer(done=not readings, readings=readings or None, understood=True)
