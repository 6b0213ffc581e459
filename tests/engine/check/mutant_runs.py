"""Whether two procedures are told apart by somebody who works with them: one technician gives both the same random
answers, and what he is shown, what stands and what is asked of advisers is laid side by side."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from walk_kit import advice_of, answer_of, plan_of, value_of

from engine.evidence import Advice
from engine.procedure.program import Program
from engine.protocol.talk import step_message
from engine.run.bind import InForce
from engine.run.layout import RunLayout
from engine.run.machine import begin, step
from engine.session.shown import show

#: Runs that are laid side by side, and answers of each.
RUNS, ANSWERS = 12, 200


def told_apart(a: Program, b: Program, advisers: Any, runs: int = RUNS) -> bool:
    """Whether some run of `a` and the same run of `b` differ. Two that never do may still mean something else."""
    return any(_differ(seed, a, b, advisers) for seed in range(runs))


def _differ(seed: int, a: Program, b: Program, advisers: Any) -> bool:
    r = random.Random(seed)
    plan = plan_of(r, a)
    try:
        other = _as(plan, b, r)
        for mine, yours in zip(_run(seed, plan, advisers), _run(seed, other, advisers), strict=True):
            if mine != yours:
                return True
    except Exception:  # whatever only one of them can't do tells them apart; `fate` sees to what no sound one does
        return True
    return False


def _as(plan: RunLayout, program: Program, r: random.Random) -> RunLayout:
    """Another program on the same job, with the same facts and settings where it has them."""
    facts, settings = {}, {}
    for name, file in program.files.items():
        base = plan.files[name].base if name in plan.files else {}
        facts[name] = {f.name: base.get(f.name, value_of(r, f.type)) for f in file.facts.values()}
        settings[name] = {s.name: InForce(base.get(s.name, value_of(r, s.type)), "job") for s in file.settings.values()}
    made = RunLayout(program, plan.job, settings, facts)
    lacking = {n: p for n, p in made.main.procedure.parameters.items() if p.default is None}
    made.main.base.update({n: plan.main.base.get(n, value_of(r, p.type)) for n, p in lacking.items()})
    return made


def _run(seed: int, plan: RunLayout, advisers: Any) -> Iterator[Any]:
    """All that can be seen of a run, answer by answer; the same answers for the same questions."""
    asked: list[Any] = []

    def advise(request: Any) -> Advice:
        inputs = request.inputs()
        asked.append((request.adviser, inputs))
        return advice_of(random.Random(f"{seed} {len(asked)}"), plan, advisers[request.adviser], inputs)

    state, _ = begin(plan, advise)
    r = random.Random(seed)
    for _ in range(ANSWERS):
        message: Any = state.end if state.end is not None else step_message(show(plan, state, "1.1", advisers))
        asked_now = [(name, sorted(i.values.items(), key=str), sorted(i.screws)) for name, i in asked[-4:]]
        yield message, state.world, state.findings, state.record, len(asked), asked_now
        if state.end is not None:
            return
        state, _ = step(plan, state, answer_of(r, plan, state, (0.1, 0.4, 0.0)[seed % 3]), advise)
