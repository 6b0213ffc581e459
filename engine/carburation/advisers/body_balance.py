"""Air balance within each body: the bypass of the lower barrel opened until it meets its neighbour, one always shut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from engine.carburation import saying
from engine.carburation.advisers.air_balance import (
    WITHIN_BODY,
    Verdict,
    aimed_or_counted,
    differences,
    disturbed_last,
    nothing_followed,
    unbelieved,
    unused,
)
from engine.carburation.advisers.contract_words import (
    AIR_READS,
    DISTURBED,
    NOT_BELIEVED,
    TURNED_OTHERWISE,
    AskedOfAir,
    PlateMoved,
    Sureness,
    adjust,
    change,
    gives,
    note,
    reading,
    says,
    screw,
)
from engine.carburation.advisers.own_scale import air_on_its_scale
from engine.carburation.estimation import gauge
from engine.carburation.estimation.air_look import Look, look
from engine.carburation.estimation.seen import fitted_screw, history, row_places
from engine.carburation.policy.air_moves import Turn
from engine.contract import Figure, Told, adviser
from engine.evidence import Evidence, Place, ReadingView, ScrewView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: How likely a verdict must be. [assumed]
SURE = 0.95
#: A barrel that lacks less than this share of what is allowed is left as it is. [assumed]
LEFT_ALONE = 0.5
#: A bypass stands open from here on, turns. [assumed: less is a hand's error at the seat]
OPEN = 0.06
#: How sure a difference that no bypass is there for is said to be. [assumed]
TOLD = 0.9


@dataclass(frozen=True, kw_only=True)
class Asks(AskedOfAir):
    """The row barrel by barrel, the bypass screws and what else moved the air."""

    flow: Annotated[ReadingView, reading("the gauge, barrel by barrel", "airflow", "depression", each=("barrel",))]
    bypass: Annotated[ScrewView | None, screw("the bypass screws, where fitted", "air", "bypass", each=("barrel",))] = (
        None
    )
    screw: PlateMoved = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How the air stands within the bodies."""

    verdict: Annotated[
        Verdict,
        says(
            "even · inside noise · turn · read again, as in air_balance · out of step: past the limit, or no bypass "
            "to mend it: a plate or spindle to mend (finding) · no answer: a bypass does nothing (finding) · at its "
            "stop · unsound readings"
        ),
    ]
    gap: Annotated[
        Figure, gives("the largest difference within a body, as a fraction of the body's mean", "%", "0", "200")
    ]
    sureness: Sureness


@adviser(
    2,
    "Within each body: opens the bypass of the lower barrel until it meets its neighbour, one bypass a body staying "
    "shut; without bypass screws judges the difference. Two to three rows; allow 6.",
    Asks,
    Tells,
    {
        **NOT_BELIEVED,
        **TURNED_OTHERWISE,
        "bypass-does-nothing": adjust("the bypass was turned far enough for the gauge to show it, and it did not"),
        "screw-at-its-stop": adjust("the bypass is fully open and its barrel still draws less"),
        "body-out-of-step": change("barrels of one body differ by more than its limit, or no bypass can mend it"),
        "body-slightly-out": note("barrels of one body differ for certain, by less than its limit"),
        **DISTURBED,
        "both-bypasses-open": adjust("both bypasses of a body stand open, where one belongs shut"),
    },
    makes=("moves",),
    idle=True,
    reads=AIR_READS,
)
def body_balance(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Bypass moves of every body at once, or the verdict that a body can't be evened; see the registry."""
    asked, limit = air_on_its_scale(job, asked, asked.flow)
    view = asked.flow
    bypass = fitted_screw(asked.bypass)
    wrong = gauge.problem(view, row_places(view, job, asked), history(evidence, [bypass] if bypass else []))
    if wrong:
        return Judgement(Tells(verdict="unsound readings", gap=0, sureness=0), findings=(wrong,), because=unused(wrong))
    seen = look(job, asked, evidence)
    sure = 1.0
    for body in seen.bodies:
        sure *= seen.sureness(body)
    turns, stopped = _turns(seen)
    after = _after(seen, turns)
    moves = [m for t in turns if (m := aimed_or_counted(seen, t, view, asked.by_aim, after)) is not None]
    dead = nothing_followed(seen)
    findings = differences(seen, limit, view.unit)
    masked = any(f.code == "body-out-of-step" for f in findings)
    both = _both_open(seen)
    findings += both
    doubtful = unbelieved(seen)
    verdict: Verdict
    if dead:
        verdict, moves = "no answer", []
        findings += [Found("bypass-does-nothing", (k[1],)) for k in dead]
    elif doubtful:
        verdict, moves = "read again", []
        findings += doubtful
    elif masked:
        verdict, moves = "out of step", []
    elif sure >= SURE:
        verdict, moves = "even", []
    elif moves:
        verdict = "turn"
    elif seen.flows.since < 2:
        verdict = "read again"
    elif not seen.bypasses:
        verdict = "out of step"
        findings = [f for f in findings if f.code != "body-slightly-out"] + _apart(seen, view.unit or "")
    elif stopped:
        verdict = "at its stop"
        findings.append(Found("screw-at-its-stop", tuple(t.screw.key[1] for t in stopped), way="bypass"))
    else:
        verdict = "inside noise"
    findings += disturbed_last(seen) if verdict != "turn" else []
    row = after if verdict == "turn" else seen.estimate
    unit = view.unit or ""
    return Judgement(
        Tells(verdict=verdict, gap=saying.clamp(_gap(seen), 0.0, 2.0), sureness=saying.clamp(sure, 0.0, 1.0)),
        tuple(moves),
        (),
        tuple(findings),
        {view.quantity: tuple(saying.exact(v, 2) for v in row)},
        Reasons(
            said("{rows:count row} of the gauge, weighed for its scatter.", rows=seen.flows.rows),
            said(
                "The {barrel:several} draw {row:.2f} {unit}. {told}",
                row=seen.estimate,
                unit=unit,
                told=said("Open the bypass of each lower {barrel} as shown; the higher {barrel}'s stays shut.")
                if verdict == "turn"
                else said(_TOLD[verdict]),
            ),
            said("That the {barrel:several} of each {carb} agree: {sure:sure}.", sure=sure),
            "A second row that differs by more than the gauge's scatter.",
        ),
    )


_TOLD = {
    "even": "That is alike within tolerance.",
    "inside noise": "What is left is inside the gauge's own scatter.",
    "read again": "One more row will tell; nothing is to be turned.",
    "out of step": "No bypass evens them: a plate is out of step.",
    "no answer": "A bypass was turned and nothing followed.",
    "at its stop": "A bypass has no travel left.",
}


def _turns(seen: Look) -> tuple[list[Turn], list[Turn]]:
    out, stopped = [], []
    for body in seen.bodies:
        base = {}
        for i in body:
            key = seen.bypasses.get(i)
            stands = seen.stands.get(key) if key else None
            base[i] = seen.estimate[i] - (seen.flows.effect(key)[0] * stands if key and stands else 0.0)
        top = max(base.values())
        for i in body:
            key = seen.bypasses.get(i)
            if key is None:
                continue
            effect, sd = seen.flows.effect(key)
            need = top - seen.estimate[i]
            if abs(need) < LEFT_ALONE * seen.allowed():
                continue
            by = need * effect / (effect * effect + sd * sd)
            stands = seen.stands.get(key)
            if stands is not None:
                low, high = (float(v) for v in seen.flows.screws[key].view.range)
                inside = max(low - stands, min(high - stands, by))
                if abs(inside - by) > 1e-9 and abs(inside) < 1e-6:
                    stopped.append(Turn(seen.flows.screws[key], 0.0, True))
                    continue
                by = inside
            out.append(Turn(seen.flows.screws[key], by))
    return out, stopped


def _after(seen: Look, turns: list[Turn]) -> list[float]:
    row = list(seen.estimate)
    for t in turns:
        for i in t.screw.moves:
            row[i] += seen.flows.effect(t.screw.key)[0] * t.turns
    return row


def _gap(seen: Look) -> float:
    worst = 0.0
    for body in seen.bodies:
        values = [seen.estimate[i] for i in body]
        mean = sum(values) / len(values)
        worst = max(worst, (max(values) - min(values)) / mean if mean > 0 else 2.0)
    return worst


def _both_open(seen: Look) -> list[Found]:
    out = []
    for body in seen.bodies:
        stands = [seen.stands.get(seen.bypasses[i]) if i in seen.bypasses else 0.0 for i in body]
        if len(body) > 1 and all(v is not None and v > OPEN for v in stands):
            carb = Place(seen.flows.places[body[0]].carb, None)
            out.append(Found("both-bypasses-open", (carb,), {"body": carb}))
    return out


def _apart(seen: Look, unit: str) -> list[Found]:
    out = []
    for body in seen.bodies:
        values = [seen.estimate[i] for i in body]
        if len(body) > 1 and (max(values) - min(values)) / 2 > WITHIN_BODY * seen.allowed():
            carb = Place(seen.flows.places[body[0]].carb, None)
            figures = {"body": carb, "apart": max(values) - min(values), "unit": unit}
            out.append(Found("body-out-of-step", (carb,), figures, "no bypass", sureness=TOLD))
    return out
