"""Proves that a program is sound before anyone stands at an engine with it; it runs nothing and reads no file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields

from engine.contract import Registry
from engine.procedure.build.links import calls
from engine.procedure.check import figures, style
from engine.procedure.check.guards import coverage
from engine.procedure.check.guards.study import Study
from engine.procedure.check.guards.witness import Words
from engine.procedure.check.ways import (
    assign,
    conditions,
    fresh,
    graph,
    hazards,
    looked_up,
    making,
    passing,
    standing,
    stops,
    symptoms,
    unwarned,
)
from engine.procedure.check.ways.edges import edges_of
from engine.procedure.check.ways.flow import Summary, flow, summary, surely_known
from engine.procedure.check.ways.passing import Passing
from engine.procedure.check.ways.rounds import Meets, meets
from engine.procedure.check.ways.unwarned import Works, works_in
from engine.procedure.program import Program
from engine.procedure.source.problems import Problem, in_order


def check(program: Program, advisers: Registry) -> tuple[Problem, ...]:
    """Every problem of a program's files, in order. A program without an error among them is sound: every step can be
    reached, every run ends after finitely many steps, and no answer leaves the technician without a way on."""
    found: list[Problem] = []
    summaries = Summaries()
    lost: dict[str, symptoms.Lost] = {}
    order = innermost_first(program)
    for name in order:
        study = Study(program, program.files[name])
        found += prove(study, advisers, summaries)
        lost[name] = symptoms.lost_in(study, lost)
    found += symptoms.problems(lost[program.main])
    found += unwarned.problems(program.files, summaries.works, order)
    found += looked_up.problems(program, advisers)
    return in_order(found)


def innermost_first(program: Program) -> list[str]:
    """The files of a program, each after those that it calls."""
    order: list[str] = []

    def visit(name: str) -> None:
        if name in order or name not in program.files:
            return
        for call in calls(program.files[name]):
            visit(call.file)
        order.append(name)

    for name in program.files:
        visit(name)
    return order


@dataclass(slots=True)
class Summaries:
    """What is known of the files that were proved, by name, for those that call them: how each leaves things standing,
    what it does with symptoms, how it passes by itself, how things stand where somebody works in it,
    which stops lead straight to its ends."""

    leaves: dict[str, Summary] = field(default_factory=dict)
    meets: dict[str, Meets] = field(default_factory=dict)
    passing: dict[str, Passing] = field(default_factory=dict)
    works: dict[str, Works] = field(default_factory=dict)
    over: dict[str, stops.Over] = field(default_factory=dict)

    def copy(self) -> Summaries:
        """One of its own for another proof: what that adds does not come back."""
        return Summaries(*(dict(getattr(self, f.name)) for f in fields(self)))


def prove(study: Study, advisers: Registry, called: Summaries) -> Iterator[Problem]:
    """The problems of one file. `called` are the files that it calls; it is added."""
    name = study.procedure.name
    flowed = flow(study, edges_of(study, advisers), advisers, called.leaves)
    found, edges = flowed.here, flowed.edges
    yield from graph.problems(study, edges, found, called.meets)
    yield from passing.problems(study, edges, found, called.passing)
    called.leaves[name] = summary(study, flowed, called.leaves, advisers)
    called.meets[name] = meets(study, found, called.meets)
    called.passing[name] = passing.passing(study, edges, found, called.passing)
    called.over[name] = stops.over(study, flowed, advisers, called.over)
    called.works[name] = works_in(study, flowed, called.leaves)
    words = Words(study.procedure, study.normal)
    spent = False
    for at, ways in edges.ways.items():
        here, step = found[at], study.procedure.steps[at]
        known = surely_known(study, here, step, advisers)
        settled = flowed.carried.narrowed(ways.space, flowed.answered(step)) if ways.space else []
        for problem in coverage.problems(study, ways, settled, known, words) if here.reach else ():
            # Where the work for the whole file is used up, every step left would say so; once is enough.
            if problem.code != "too-complex" or not spent:
                yield problem
            spent = spent or (problem.code == "too-complex" and study.effort.left < 0)
    yield from conditions.problems(study, flowed)
    yield from assign.problems(study, edges, found, advisers)
    yield from standing.problems(study, edges, found, called.leaves, advisers)
    yield from fresh.problems(study, flowed, advisers, called.leaves)
    yield from making.problems(study, flowed, advisers)
    yield from stops.problems(study, called.over[name])
    yield from stops.unsaid(study, flowed, advisers)
    yield from hazards.problems(study, found)
    yield from figures.problems(study)
    yield from style.problems(study)
