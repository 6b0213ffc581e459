"""How many steps are left at the least: the shortest way through the files that is still open; it follows no answer and
asks no adviser.

A search counts as one round, so that a run takes longer than this and never less, but for what a symptom or a stop
cuts short. Branches that the job's facts and settings close are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from weakref import WeakKeyDictionary

from engine.evidence import Place
from engine.procedure.build.ways import BACK, NEXT
from engine.procedure.program import Call, End, Procedure, Step
from engine.run.layout import RunLayout
from engine.run.state import Frame, State

#: More than any routine has: nothing leads there.
NEVER = 10**6
#: The fewest steps from a step of a file to one of its ends, by file, step and end.
_Ways = dict[str, dict[str, dict[str, int]]]
_known: WeakKeyDictionary[RunLayout, _Ways] = WeakKeyDictionary()


def steps_left(plan: RunLayout, state: State) -> int | None:
    """The fewest steps that still wait for an answer, the one in force among them, to an end that is ok; None where no
    such end can be reached any more."""
    if state.end is not None:
        return 0
    ways = _known.get(plan)
    if ways is None:
        ways = _known[plan] = {}
    left = _rest(plan, ways, state.frame, state.frame.at.name)
    return left if left < NEVER else None


def _rest(plan: RunLayout, ways: _Ways, frame: Frame, step: str) -> int:
    """From a step of a frame to the end of the run, through whoever called it."""
    here = _ways(plan, ways, frame.at.file.procedure.name).get(step, {})
    ends = frame.at.file.procedure.ends
    if frame.caller is None or frame.site is None:
        return min((n for end, n in here.items() if ends[end].outcome == "ok"), default=NEVER)
    return min((n + _after(plan, ways, frame, end) for end, n in here.items()), default=NEVER)


def _after(plan: RunLayout, ways: _Ways, frame: Frame, end: str) -> int:
    """What is left in the callers once a called file has reached an end."""
    caller, site = frame.caller, frame.site
    assert caller is not None and site is not None
    target = site.spec.ends.get(end)
    more = 0
    if site.spec.each is not None:
        places = max(0, len(site.places) - site.turn - 1)
        more = places * _through(plan, ways, site.spec.file)
    if target in (NEXT, BACK):
        target = site.spec.go or caller.at.name if target == NEXT else caller.at.name
    if target is None:
        return NEVER
    return min(NEVER, more + _rest(plan, ways, caller, target))


def _through(plan: RunLayout, ways: _Ways, file: str) -> int:
    """The fewest steps through a file to an end that is ok."""
    procedure = plan.files[file].procedure
    from_start = _ways(plan, ways, file).get(procedure.start, {})
    return min((n for end, n in from_start.items() if procedure.ends[end].outcome == "ok"), default=NEVER)


def _ways(plan: RunLayout, ways: _Ways, file: str) -> dict[str, dict[str, int]]:
    """The fewest steps from every step of a file to each of its ends: relaxed until nothing gets shorter."""
    if file in ways:
        return ways[file]
    procedure = plan.files[file].procedure
    found: dict[str, dict[str, int]] = {name: {} for name in procedure.steps}
    ways[file] = found
    links = {name: list(_links(plan, ways, procedure, step)) for name, step in procedure.steps.items()}
    for name, step in procedure.steps.items():
        if isinstance(step.way, End):
            found[name][name] = int(step.waits == "always")
    changed = True
    while changed:
        changed = False
        for name, step in procedure.steps.items():
            own = int(step.waits == "always")
            for target, cost in links[name]:
                for end, n in found.get(target, {}).items():
                    total = own + cost + n
                    if total < found[name].get(end, NEVER):
                        found[name][end] = total
                        changed = True
    return found


def _links(plan: RunLayout, ways: _Ways, procedure: Procedure, step: Step) -> Iterator[tuple[str, int]]:
    """Where a step may lead, and what the call between costs."""
    way = step.way
    if isinstance(way, str):
        yield way, 0
    elif isinstance(way, tuple):
        base = plan.files[procedure.name].base
        for branch in way:
            said = _settled(branch.when, base)
            if said is not False:
                yield branch.go, 0
            if said is True:
                return
    elif isinstance(way, Call):
        called = plan.files[way.file].procedure
        from_start = _ways(plan, ways, way.file).get(called.start, {})
        around = None if procedure.here is None else Place(1)  # within one carb: as many as within the first
        rounds = len(plan.bank.places(way.each, around)) if way.each is not None and called.here is not None else 1
        for end, target in way.ends.items():
            if end in from_start:
                yield (way.go or step.name) if target == NEXT else target, from_start[end] * max(1, rounds)


def _settled(guard: Any, base: Any) -> bool | None:
    """What a guard says by the job's facts and settings alone; None where it needs more."""
    if guard is None:
        return None
    if not guard.uses or not guard.uses <= base.keys():
        return None
    value = guard.run(base)
    return value if isinstance(value, bool) else None
