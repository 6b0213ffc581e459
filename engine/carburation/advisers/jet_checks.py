"""A wrong or dirty jet told from a leak, a low level and a weak cylinder by the checks made on one barrel; it orders
none."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation.advisers.contract_words import Sureness, adjust, change, choice, number, reading, says, truth
from engine.carburation.estimation.seen import numbers, value
from engine.contract import Asked, Told, adviser
from engine.evidence import Evidence, Place, ReadingView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: A cylinder that costs less than this share of the others' drop when its plug is shorted is weak [assumed].
WEAK = 0.6
#: An error of the fuel level that matters, mm. [common practice: bodies alike within 1 mm]
LEVEL_LIMIT = 1.0
#: How sure a finding is said to be: a check seen, a level measured, a plug shorted, nothing left to check. [assumed]
SEEN, MEASURED, SHORTED, NOTHING_LEFT = 0.95, 0.9, 0.85, 0.5


Verdict = Literal[
    "jet wrong",
    "jet dirty",
    "air leak",
    "spindle worn",
    "fuel level",
    "weak cylinder",
    "cannot tell",
    "more checks",
]
Check = Literal["leak", "nudge", "level", "clean", "swap", "plug", "none"]
Seen = Literal["no", "yes", "not done"]


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """What each check of one barrel showed."""

    leak: Annotated[Seen | None, choice("mist or smoke at the manifold of this barrel")] = None
    nudge: Annotated[Seen | None, choice("spindle nudged sideways")] = None
    level: Annotated[
        ReadingView | None,
        reading("fuel level of this body against the specified one, mm", "fuel level", each=(None, "carb")),
    ] = None
    level_limit: Annotated[Fraction | None, number("level error that matters (left out: 1 mm)", "mm", "0.2", "5")] = (
        None
    )
    cleaned: Annotated[
        Literal["no change", "cured", "not done"] | None, choice("the jet cleaned and counted again")
    ] = None
    swap: Annotated[
        Literal["stayed", "followed the jet", "not done"] | None,
        choice("the jet swapped with its neighbour's: where is the fault now"),
    ] = None
    plug_drop: Annotated[
        ReadingView | None,
        reading("speed lost with this plug shorted", "speed drop", each=(None, "barrel", "cylinder")),
    ] = None
    others_drop: Annotated[Fraction | None, number("mean speed lost with the others' plugs", "rpm", "0", "2000")] = None
    both_out: Annotated[bool | None, truth("whether its neighbour in the body is out the same way")] = None
    jet_differs: Annotated[bool | None, truth("whether the number on this jet differs from the others'")] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """What the barrel suffers from, or what to look at next."""

    verdict: Annotated[Verdict, says("what the barrel suffers from")]
    next: Annotated[Check, says("the check that tells most now")]
    sureness: Sureness


@adviser(
    1,
    "Tells a wrong or dirty jet from an air leak, a low fuel level and a weak cylinder, from the checks made on a "
    "barrel that is out alone, and says which check comes next. At most 6 answers a barrel.",
    Asks,
    Tells,
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
def jet_checks(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """The first check that explains the barrel wins; where none does, the next check to make. See the registry."""
    where = _here(evidence)
    level, drop, others = _single(asked.level), _single(asked.plug_drop), asked.others_drop
    limit = value(asked.level_limit, LEVEL_LIMIT)
    verdict: Verdict = "more checks"
    after: Check = "none"
    finding: Found | None = None
    if asked.leak == "yes":
        verdict, finding = "air leak", Found("air-leak", where, way="by mist", sureness=SEEN)
    elif asked.nudge == "yes":
        verdict, finding = "spindle worn", Found("spindle-worn", where, sureness=SEEN)
    elif level is not None and abs(level) > limit:
        body = (Place(where[0].carb, None),) if where else ()
        way = "low" if level < 0 else "high"
        verdict, finding = "fuel level", Found("fuel-level-off", body, {"far": abs(level)}, way, sureness=MEASURED)
    elif drop is not None and others is not None and float(others) > 0 and drop < WEAK * float(others):
        figures = {"drop": drop, "others": float(others)}
        verdict, finding = "weak cylinder", Found("weak-cylinder", where, figures, sureness=SHORTED)
    elif asked.cleaned == "cured":
        verdict, finding = "jet dirty", Found("idle-jet-dirty", where, sureness=SEEN)
    elif asked.swap == "followed the jet" or (asked.jet_differs and asked.leak == "no"):
        verdict, finding = "jet wrong", Found("idle-jet-wrong", where, sureness=SEEN)
    else:
        after = _next(asked)
        if after == "none":
            verdict, finding = "cannot tell", Found("fault-not-told-apart", where, sureness=NOTHING_LEFT)
    sure = (finding.sureness or 0.0) if finding is not None else 0.0
    return Judgement(
        Tells(verdict=verdict, next=after, sureness=sure),
        findings=(finding,) if finding else (),
        because=Reasons(
            said(
                "{checks}{level}.",
                checks="; ".join(f"{_SAID[k]}: {v}" for k, v in _made(asked).items()),
                level=said("; the fuel level is {mm:+.1f} mm off", mm=level) if level is not None else "",
            ),
            _NEXT[after] if finding is None else _TOLD[verdict],
            said("{sure:sure}.", sure=sure) if sure else "Not yet.",
            "Any check that comes out otherwise.",
        ),
    )


#: The checks in words, what each finds, and what is to be looked for next.
_SAID = {
    "leak": "Mist at the joints changes the speed",
    "nudge": "a nudged spindle changes the speed",
    "cleaned": "the jet cleaned",
    "swap": "the jet changed places with another",
}
_TOLD = {
    "air leak": "Air leaks in at this barrel, and that explains it.",
    "spindle worn": "The spindle leaks air, and that explains it.",
    "fuel level": "The fuel level explains it.",
    "weak cylinder": "The cylinder itself is weak, and that explains it.",
    "jet dirty": "The jet was dirty.",
    "jet wrong": "It is the jet.",
    "cannot tell": "None of the checks explains it.",
}
_NEXT = {
    "leak": "Look for an air leak first: it is the likeliest that is not looked for yet.",
    "nudge": "Nudge the spindle next.",
    "level": "Measure the fuel level next.",
    "clean": "Clean the jet next.",
    "swap": "Change the jet with another barrel's next.",
    "plug": "Short the plug next, and see how far the speed falls.",
}


def _made(asked: Asks) -> dict[str, str]:
    """What came of the checks that are answered in words."""
    given = {"leak": asked.leak, "nudge": asked.nudge, "cleaned": asked.cleaned, "swap": asked.swap}
    return {check: told or "not done" for check, told in given.items()}


def _next(asked: Asks) -> Check:
    made = _made(asked)
    order: list[tuple[Check, bool]] = [
        ("leak", made["leak"] == "not done"),
        ("nudge", made["nudge"] == "not done"),
        ("level", _single(asked.level) is None),
        ("clean", made["cleaned"] == "not done"),
        ("swap", made["swap"] == "not done"),
        ("plug", _single(asked.plug_drop) is None),
    ]
    if asked.both_out:  # both barrels of a body: the level explains that best
        order.sort(key=lambda o: o[0] != "level")
    return next((name for name, open_ in order if open_), "none")


def _here(evidence: Evidence) -> tuple[Place, ...]:
    here = evidence.answers[-1].here if evidence.answers else None
    return (here,) if here else ()


def _single(view: ReadingView | None) -> float | None:
    row = numbers(view.row) if view is not None and view.row else ()
    return row[0] if row else None
