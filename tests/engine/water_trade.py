"""A trade that no code knows: water valves on a header, with one adviser. The language and the run are tested in it."""

from __future__ import annotations

from fractions import Fraction

from engine.contract import Adviser, Input, Output, Raises
from engine.evidence import Evidence, Inputs, Move, Place
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.procedure.language.expr import Type
from engine.wording import Sentence

_FLOW = Type("number", "volume flow", "L/min", Fraction(0), Fraction(100))
#: What one turn of a spindle is taken to be worth, L/min: invented.
_PER_TURN = Fraction(2)


def even_flow(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
    """Bring every valve to the target: each spindle by what it lacks at 2 L/min a turn, to the step of its thread.

    "even" where the row spreads no more than the tolerance, "no answer" where a valve that was turned gives what it
    gave before, else "turn". Units: L/min, turns.
    """
    row = inputs.readings["flow"].row or ()
    screw = inputs.screws["screw"]
    target, tolerance = inputs.values["target"], inputs.values["tolerance"]
    gap = max(row) - min(row)
    stuck = tuple(Place(i) for i, flow in enumerate(row, 1) if _unmoved(evidence, screw.name, i, flow))
    verdict = "even" if gap <= tolerance else "no answer" if stuck else "turn"
    moves = []
    for i, flow in enumerate(row, 1):
        turns = round((target - flow) / _PER_TURN / screw.step) * screw.step
        if verdict == "turn" and turns:
            way = "out" if turns > 0 else "in"
            moves.append(Move(screw.name, Place(i), way, screw.outward if way == "out" else screw.inward, abs(turns)))
    found = Found("valve-stuck", stuck)
    return Judgement(
        {"verdict": verdict, "gap": gap},
        tuple(moves),
        findings=(found,) if stuck else (),
        because=Reasons("the row of flows", verdict, "sure", "another reading"),
    )


def _unmoved(evidence: Evidence, screw: str, carb: int, flow: Fraction) -> bool:
    turned = False
    for answer in reversed(evidence.answers):
        if turned and "flow" in answer.names:
            return answer.names["flow"][carb - 1] == flow
        turned = turned or any(m.screw == screw and m.place.carb == carb for m in answer.moves)
    return False


EVEN_FLOW = Adviser(
    "even_flow",
    1,
    "Bring every valve to the target.",
    {
        "flow": Input("reading", "flow of each valve", quantities=("water flow", "other"), each=("carb",)),
        "screw": Input("screw", "the spindles", acts=("water",), each=("carb",)),
        "target": Input("value", "flow to reach", _FLOW),
        "tolerance": Input("value", "spread allowed", _FLOW),
    },
    {
        "verdict": Output(Type("choice", choices=("even", "turn", "no answer")), "how it stands"),
        "gap": Output(_FLOW, "greatest less least flow"),
    },
    frozenset({"moves"}),
    even_flow,
    {"valve-stuck": Raises("change part", "its spindle was turned and its flow stayed")},
    sentences=lambda: {"valve-stuck": {"": Sentence("The spindle turns and nothing changes.")}},
    retired={"aim": "it is called `target`"},
)

ADVISERS = {"even_flow": EVEN_FLOW}


def water_job(**bank: object) -> Job:
    """A job of the trade: two valves of one outlet each unless `bank` says otherwise."""
    layout = {"family": "valve header", "carbs": 2, "barrels_per_carb": 1, **bank}
    settings = layout.pop("settings", {})
    cylinders = min(int(str(layout["carbs"])) * int(str(layout["barrels_per_carb"])), 16)  # which it has none of
    instruments = layout.pop("instruments", {})
    return Job.model_validate(
        {
            "engine": {"cylinders": cylinders, "displacement": "1000 cc", "idle_speed": "900 rpm"},
            "bank": layout,
            "instruments": instruments,
            "settings": settings,
        }
    )
