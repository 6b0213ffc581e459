"""A wrong or dirty jet told from a leak, a low level and a weak cylinder by the checks made on one barrel; it orders
none."""

from __future__ import annotations

from engine.carburation import saying
from engine.carburation.advisers.contract_words import SURENESS, adjust, change, choice, number, reading, says, truth
from engine.carburation.estimation.seen import flag, numbers, value
from engine.contract import adviser
from engine.evidence import Evidence, Inputs, Place
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: A cylinder that costs less than this share of the others' drop when its plug is shorted is weak [assumed].
WEAK = 0.6
#: An error of the fuel level that matters, mm. [common practice: bodies alike within 1 mm]
LEVEL_LIMIT = 1.0
#: How sure a finding is said to be: a check seen, a level measured, a plug shorted, nothing left to check. [assumed]
SEEN, MEASURED, SHORTED, NOTHING_LEFT = 0.95, 0.9, 0.85, 0.5


@adviser(
    1,
    "Tells a wrong or dirty jet from an air leak, a low fuel level and a weak cylinder, from the checks made on a "
    "barrel that is out alone, and says which check comes next. At most 6 answers a barrel.",
    {
        "leak": choice("mist or smoke at the manifold of this barrel", "no", "yes", "not done"),
        "nudge": choice("spindle nudged sideways", "no", "yes", "not done"),
        "level": reading(
            "fuel level of this body against the specified one, mm", "fuel level", each=(None, "carb"), optional=True
        ),
        "level_limit": number("level error that matters (left out: 1 mm)", "mm", "0.2", "5", optional=True),
        "cleaned": choice("the jet cleaned and counted again", "no change", "cured", "not done"),
        "swap": choice(
            "the jet swapped with its neighbour's: where is the fault now", "stayed", "followed the jet", "not done"
        ),
        "plug_drop": reading(
            "speed lost with this plug shorted", "speed drop", each=(None, "barrel", "cylinder"), optional=True
        ),
        "others_drop": number("mean speed lost with the others' plugs", "rpm", "0", "2000", optional=True),
        "both_out": truth("whether its neighbour in the body is out the same way"),
        "jet_differs": truth("whether the number on this jet differs from the others'"),
    },
    {
        "verdict": says(
            "what the barrel suffers from",
            "jet wrong",
            "jet dirty",
            "air leak",
            "spindle worn",
            "fuel level",
            "weak cylinder",
            "cannot tell",
            "more checks",
        ),
        "next": says("the check that tells most now", "leak", "nudge", "level", "clean", "swap", "plug", "none"),
        "sureness": SURENESS,
    },
    {
        "air-leak": change("mist changed the speed at this barrel"),
        "spindle-worn": change("the speed moved when the spindle was nudged"),
        "fuel-level-off": adjust("the level is further off than its limit"),
        "weak-cylinder": change("its plug, shorted, costs far less speed than the others'"),
        "idle-jet-wrong": change("the fault went along with the jet, or the jet bears another number"),
        "idle-jet-dirty": adjust("cleaning the jet cured it"),
        "fault-not-told-apart": adjust("every check was made and none explains it"),
    },
)
def jet_checks(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
    """The first check that explains the barrel wins; where none does, the next check to make. See the registry."""
    where = _here(evidence)
    given = {k: inputs.values.get(k) or "not done" for k in ("leak", "nudge", "cleaned", "swap")}
    level, drop = _single(inputs, "level"), _single(inputs, "plug_drop")
    others = inputs.values.get("others_drop")
    limit = value(inputs, "level_limit", LEVEL_LIMIT)
    verdict, after = "more checks", "none"
    finding: Found | None = None
    if given["leak"] == "yes":
        verdict, finding = "air leak", Found("air-leak", where, way="by mist", sureness=SEEN)
    elif given["nudge"] == "yes":
        verdict, finding = "spindle worn", Found("spindle-worn", where, sureness=SEEN)
    elif level is not None and abs(level) > limit:
        body = (Place(where[0].carb, None),) if where else ()
        way = "low" if level < 0 else "high"
        verdict, finding = "fuel level", Found("fuel-level-off", body, {"far": abs(level)}, way, sureness=MEASURED)
    elif drop is not None and others is not None and float(others) > 0 and drop < WEAK * float(others):
        figures = {"drop": drop, "others": float(others)}
        verdict, finding = "weak cylinder", Found("weak-cylinder", where, figures, sureness=SHORTED)
    elif given["cleaned"] == "cured":
        verdict, finding = "jet dirty", Found("idle-jet-dirty", where, sureness=SEEN)
    elif given["swap"] == "followed the jet" or (flag(inputs, "jet_differs", False) and given["leak"] == "no"):
        verdict, finding = "jet wrong", Found("idle-jet-wrong", where, sureness=SEEN)
    else:
        after = _next(given, level, drop, flag(inputs, "both_out", False))
        if after == "none":
            verdict, finding = "cannot tell", Found("fault-not-told-apart", where, sureness=NOTHING_LEFT)
    sure = (finding.sureness or 0.0) if finding is not None else 0.0
    return Judgement(
        saying.outputs(verdict=verdict, next=after, sureness=sure),
        findings=(finding,) if finding else (),
        because=Reasons(
            said(
                "{checks}{level}.",
                checks="; ".join(f"{k}: {v}" for k, v in given.items()),
                level=said("; level {mm:+.1f} mm", mm=level) if level is not None else "",
            ),
            said("{verdict}.{next}", verdict=verdict, next=f" Next: {after}." if after != "none" else ""),
            said("{sure:sure}.", sure=sure) if sure else "Not yet.",
            "Any check that comes out otherwise.",
        ),
    )


def _next(given: dict[str, str], level: float | None, drop: float | None, both: bool) -> str:
    order = [
        ("leak", given["leak"] == "not done"),
        ("nudge", given["nudge"] == "not done"),
        ("level", level is None),
        ("clean", given["cleaned"] == "not done"),
        ("swap", given["swap"] == "not done"),
        ("plug", drop is None),
    ]
    if both:  # both barrels of a body: the level explains that best
        order.sort(key=lambda o: o[0] != "level")
    return next((name for name, open_ in order if open_), "none")


def _here(evidence: Evidence) -> tuple[Place, ...]:
    here = evidence.answers[-1].here if evidence.answers else None
    return (here,) if here else ()


def _single(inputs: Inputs, name: str) -> float | None:
    view = inputs.readings.get(name)
    row = numbers(view.row) if view is not None and view.row else ()
    return row[0] if row else None
