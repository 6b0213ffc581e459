"""That every name is known on every path before it is used; it follows paths by worlds and the conditions of one step.

`and`, `or` and the order of branches are followed: in `meter and drips == 'yes'` the reading is used only where `meter`
holds. What `known(x)` has asked for is known from there on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from engine.contract import Registry
from engine.procedure.check.guards.coverage import place
from engine.procedure.check.guards.formulas import Formula, TooComplex, negation
from engine.procedure.check.guards.study import Study, guards_in
from engine.procedure.check.ways.edges import Edge, Edges, leading, waits
from engine.procedure.check.ways.flow import Here, gains_of, given_by
from engine.procedure.check.ways.paths import said, shortest
from engine.procedure.language.expr import And, Arith, Call, Compare, Name, Node, Not, Or
from engine.procedure.program import Binding, FindingSpec, Guard, Step, Template
from engine.procedure.program import Call as FileCall
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span


@dataclass(frozen=True, slots=True)
class Context:
    """What is known to hold where a name is used: formulas, the worlds they leave, names asked for by `known`."""

    worlds: int
    holds: tuple[Formula, ...] = ()
    asked: frozenset[str] = frozenset()


@dataclass(slots=True)
class Names:
    """What may be unknown in a step just now: name -> worlds; and under which guard a reading of this step is taken."""

    unknown: dict[str, int]
    taken: dict[str, Guard] = field(default_factory=dict)


def problems(study: Study, edges: Edges, found: Mapping[str, Here], advisers: Registry) -> Iterator[Problem]:
    """Every use of a name that some path leaves unknown; each name once a step."""
    givers: dict[str, list[str]] = {}
    for step in study.procedure.steps.values():
        for given in dict.fromkeys(given_by(step, advisers, study.program.files)):
            givers.setdefault(given, []).append(step.name)
    for name, step in study.procedure.steps.items():
        here = found[name]
        if here.reach:
            seen: set[str] = set()
            for problem, used in _Walk(study, edges, step, here, advisers, givers).run():
                if used not in seen:
                    seen.add(used)
                    yield problem


class _Walk:
    """One step in the order in which it is carried out."""

    def __init__(
        self,
        study: Study,
        edges: Edges,
        step: Step,
        here: Here,
        advisers: Registry,
        givers: Mapping[str, list[str]],
    ) -> None:
        self.study, self.edges, self.step, self.advisers, self.givers = study, edges, step, advisers, givers
        self.names = Names(dict(here.unknown))
        self.start = Context(here.reach)

    def run(self) -> Iterator[tuple[Problem, str]]:
        yield from self.asked()
        yield from self.answered()
        yield from self.way_on()

    def asked(self) -> Iterator[tuple[Problem, str]]:
        """What is worked out when the step is entered, before its readings."""
        step, at = self.step, self.start
        for value in step.state.values():
            if isinstance(value, Guard):
                yield from self.guard(value, at)
        for text in (step.caution, step.do, step.why, step.hear, step.note):
            yield from self.template(text, at)
        for move in step.moves:
            yield from self.all([move.when, move.to, move.by], at)
        for fit in step.fit:
            yield from self.all([fit.when, fit.size], at)
        if step.make:
            yield from self.name(step.make, step.spans.get("make", step.span), at, f"`make: {step.make}`")
        for read in step.read:
            yield from self.guard(read.when, at)
        if waits(step):
            for led in leading(self.study, step).values():
                if isinstance(led, FileCall):
                    yield from self.all(list(led.bindings.values()), at)

    def answered(self) -> Iterator[tuple[Problem, str]]:
        """What is worked out with the readings."""
        step, at = self.step, self.start
        fresh = {*given_by(step, self.advisers, self.study.program.files)}
        for read in step.read:
            # The condition was judged before the answer: what the answer changes can't be asked again.
            self.learn(read.reading, read.when, bool(read.when and read.when.uses & fresh))
        for name, guard in step.keep:
            yield from self.guard(guard, at)
            self.learn(name, None)
        for advise in step.advise:
            yield from self.guard(advise.when, at)
            inside = self.narrowed(at, advise.when, True)
            for binding in advise.bindings.values():
                yield from self.binding(binding, inside)
            adviser = self.advisers.get(advise.adviser)
            given = (advise.name, *(f"{advise.name}.{o}" for o in (adviser.outputs if adviser else ())))
            for name in given:
                self.learn(name, advise.when, bool(advise.when and any("." in n for n in advise.when.uses)))
        for finding in step.findings:
            yield from self.finding(finding, at)
        for text in (step.on_stop.say, step.on_stop.do) if step.on_stop else ():
            yield from self.template(text, at)

    def way_on(self) -> Iterator[tuple[Problem, str]]:
        """The branches, each where those above it do not hold; a call; the words and results of an end."""
        way, at = self.step.way, self.start
        if isinstance(way, tuple):
            for branch in way:
                yield from self.guard(branch.when, at)
                inside = self.narrowed(at, branch.when, True)
                for finding in branch.findings:
                    yield from self.finding(finding, inside)
                at = self.narrowed(at, branch.when, False)
        elif isinstance(way, FileCall):
            yield from self.all([*way.bindings.values(), way.worst_by], at)
        elif not isinstance(way, str):
            yield from self.template(way.say, at)
            for guard in self.study.procedure.gives.values():
                yield from self.guard(guard, at)

    # ---- pieces

    def learn(self, name: str, when: Guard | None, stale: bool = False) -> None:
        """A name is given a worth, where `when` holds."""
        surely = self.study.surely_in(when)
        if name in self.names.unknown:
            self.names.unknown[name] &= ~surely
        if when is not None and not stale:
            self.names.taken[name] = when

    def all(self, guards: list[Guard | None], at: Context) -> Iterator[tuple[Problem, str]]:
        for guard in guards:
            yield from self.guard(guard, at)

    def finding(self, finding: FindingSpec, at: Context) -> Iterator[tuple[Problem, str]]:
        yield from self.guard(finding.when, at)
        inside = self.narrowed(at, finding.when, True)
        yield from self.guard(finding.where, inside)
        yield from self.template(finding.say, inside)
        yield from self.template(finding.do, inside)

    def binding(self, binding: Binding, at: Context) -> Iterator[tuple[Problem, str]]:
        if binding.guard is not None:
            yield from self.guard(binding.guard, at)
        elif binding.kind == "reading":
            yield from self.name(binding.target, binding.span, at, f"`{binding.target}`")

    def template(self, text: Template | None, at: Context) -> Iterator[tuple[Problem, str]]:
        for guard in guards_in(text):
            yield from self.guard(guard, at, text)

    def guard(self, guard: Guard | None, at: Context, text: Template | None = None) -> Iterator[tuple[Problem, str]]:
        if guard is None or not any(self.names.unknown.get(n, 0) & at.worlds for n in guard.uses):
            return
        yield from self.walk(guard.node, guard, at)

    def walk(self, node: Node, guard: Guard, at: Context) -> Iterator[tuple[Problem, str]]:
        """Every name of an expression, each in the context that what stands before it makes."""
        match node:
            case And() | Or() if node.type is not None and node.type.each is not None:
                for item in node.items:  # place by place: what holds at one of them says nothing of the engine
                    yield from self.walk(item, guard, at)
            case And() | Or():
                truth = isinstance(node, And)
                for item in node.items:
                    yield from self.walk(item, guard, at)
                    at = self.after(at, item, truth)
            case Not():
                yield from self.walk(node.item, guard, at)
            case Compare():
                for item in node.items:
                    yield from self.walk(item, guard, at)
            case Arith():
                yield from self.walk(node.left, guard, at)
                yield from self.walk(node.right, guard, at)
            case Call(function="known") | Call(function="position"):
                return
            case Call():
                yield from self.walk(node.argument, guard, at)
            case Name(name=name) if name in self.study.procedure.values:
                inner = self.study.procedure.values[name].guard
                for problem, used in self.walk(inner.node, inner, at):
                    _, _, rest = problem.message.partition(f"`{used}`")
                    told = f"`{name}` needs `{used}`, which {rest.removeprefix(', which').strip()}"
                    yield replace(problem, span=place(guard, node), message=told), used
            case Name(name=name):
                yield from self.name(name, place(guard, node), at, f"`{name}`")

    def name(self, name: str, span: Span, at: Context, what: str) -> Iterator[tuple[Problem, str]]:
        where = self.names.unknown.get(name, 0) & at.worlds
        if not where or name in at.asked:
            return
        when = self.names.taken.get(name)
        if when is not None and self.implied(when, at):
            return
        yield self.problem(name, span, what, where), name

    def implied(self, when: Guard, at: Context) -> bool:
        """Whether what is known to hold makes sure that the reading was taken."""
        try:
            return not self.study.possible([*at.holds, negation(self.study.formula(when))], at.worlds)
        except TooComplex:
            return False

    def problem(self, name: str, span: Span, what: str, where: int = 0) -> Problem:
        study = self.study
        givers = self.givers.get(name, [])
        facts = study.worlds.describe(where, lambda atom: str(atom[1])) if where else {}
        cases = " and ".join(
            f"{n} is {v if isinstance(v, str) else 'true' if v else 'false'}"
            for n, v in facts.items()
            if isinstance(v, bool | str)
        )
        if self.step.name in givers:
            source = "is only known once this step is answered, and before that" if len(givers) == 1 else "still"
        elif givers:
            source = f"comes from {' or '.join(repr(g) for g in givers[:3])}, and"
        else:
            source = "is given by no step, and"
        told = f"{what} {source} may not be known here{f', where {cases}' if cases else ''}."
        return Problem(
            "used-before-read",
            study.path,
            span,
            told,
            "The run would work with a value that nobody has taken.",
            "Take it on every way that leads here, or ask `known(...)` first.",
            witness=self.way(name, givers, where),
        )

    def way(self, name: str, givers: list[str], worlds: int) -> str:
        """A way to this step by which the name is not given, in words."""
        steps = self.study.procedure.steps
        known = {g: gains_of(self.study, steps[g], self.advisers).get(name, 0) for g in givers}

        def through(edge: Edge) -> int:
            return edge.worlds & ~(known.get(edge.source, 0) if edge.when == "answered" else 0)

        if self.study.ways_to_show <= 0:
            return ""
        self.study.ways_to_show -= 1
        start = self.study.procedure.start
        path = shortest(
            self.edges,
            start,
            self.step.name,
            True,
            lambda value, _: (value,),
            bool,
            worlds or self.study.worlds.all,
            through,
        )
        return said(path, start)

    def after(self, at: Context, item: Node, truth: bool) -> Context:
        try:
            formula = self.study.normal.formula(item)
        except TooComplex:
            return at
        return self._with(at, formula if truth else negation(formula), _asked(item, truth))

    def narrowed(self, at: Context, guard: Guard | None, truth: bool) -> Context:
        """The context where a guard holds, or does not."""
        if guard is None:
            return at
        try:
            formula = self.study.formula(guard)
        except TooComplex:
            return at
        return self._with(at, formula if truth else negation(formula), _asked(guard.node, truth))

    def _with(self, at: Context, formula: Formula, asked: frozenset[str]) -> Context:
        worlds = at.worlds & self.study.may_hold(formula)
        return Context(worlds, (*at.holds, formula), at.asked | asked)


def _asked(node: Node, truth: bool) -> frozenset[str]:
    """The names that are there if an expression is true, or false."""
    match node:
        case Call(function="known", argument=Name(name=name)):
            return frozenset({name}) if truth else frozenset()
        case Not():
            return _asked(node.item, not truth)
        case And() if truth:
            return frozenset().union(*(_asked(i, True) for i in node.items))
        case Or() if not truth:
            return frozenset().union(*(_asked(i, False) for i in node.items))
    return frozenset()
