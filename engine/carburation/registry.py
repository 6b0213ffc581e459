"""The contract of every adviser that procedures may call: names, inputs, outputs, findings; it computes nothing itself.

Verdicts are plain words and never absent. An adviser in a loop says 'turn' while it has moves to make; each says in its
`about` how many answers it may take, so that a file can set its limit.
"""

from __future__ import annotations

from engine.carburation.advisers.circuit_contracts import CIRCUITS
from engine.carburation.advisers.contract_words import (
    choice,
    computed,
    flag,
    gives,
    number,
    reading,
    row,
    says,
    screw,
    truths,
)
from engine.contract import Adviser, Registry

NOTE, ADJUST, CHANGE, STOP = "note", "adjust", "change part", "stop"

#: Readings that no sound gauge gives: zeros, one figure everywhere, a row that contradicts the moves. None is used.
_UNSOUND = {"gauge-not-believed": NOTE, "screw-turned-otherwise": NOTE}
_TOLERANCES = {
    "tolerance": number("how far a barrel may lie from the mean of all, as a fraction of it", "%", "0.5", "30"),
    "least_flow": number("a flow within which any difference is good", "kg/h", "0", "3", optional=True),
    "least_depression": number("a depression within which any difference is good", "kPa", "0", "10", optional=True),
}
_FLOW = reading("the gauge, place by place", "airflow", "depression", each=("barrel", "carb", "cylinder"))
_SPEED = reading("engine speed, gauge off", "engine speed")
_TARGET = {
    "target": number("the idle speed to hold (left out: the job's)", "rpm", "300", "4000", optional=True),
    "speed_tolerance": number("how far the speed may lie from it (left out: 30 rpm)", "rpm", "5", "300", optional=True),
}
_GAP = gives("the furthest barrel from the mean, as a fraction of the mean", "%", "0", "200")
_SURE = gives("how likely what the verdict says is true", "%", "0", "100")
_OFF = gives("best estimate of speed less target", "rpm", "-5000", "5000")

AIR_BALANCE = Adviser(
    "air_balance",
    1,
    "Gives every body its next move at once, so that all draw alike and the engine holds its speed. Three to five rows "
    "suffice from a rough start; allow 8.",
    {
        "flow": _FLOW,
        "speed": reading("engine speed, gauge off, taken with the row", "engine speed", optional=True),
        "screw": screw(
            "the speed screws; with `coupling` the one that moves all, or one a body of which only the "
            "master's "
            "(see `master`) is turned",
            "air",
            "plate",
            each=("carb", "barrel", "bank"),
        ),
        "coupling": screw(
            "the balance screws between coupled bodies: bind it where the bodies stay coupled",
            "air",
            "coupling",
            each=("gap", "carb"),
            optional=True,
        ),
        "bypass": screw(
            "air bypass screws: bind it to set bodies and barrels in one round (lower barrels only, one shut a body)",
            "air",
            "bypass",
            each=("barrel",),
            optional=True,
        ),
        **_TOLERANCES,
        **_TARGET,
        "master": number(
            "coupled bodies: the body whose speed screw moves all (left out: 1)", "", "1", "12", optional=True
        ),
        "hold_speed": flag(
            "whether the moves shall also bring the speed to target (left out: yes, where speed is bound)"
        ),
        "by_aim": flag("whether the last move may be by aim at the gauge (left out: yes)"),
        "body_limit": number(
            "the difference within one body that is a fault to mend, not to mask (left out: 1 kg/h)",
            "kg/h",
            "0.2",
            "5",
            optional=True,
        ),
    },
    {
        "verdict": says(
            "even: all within tolerance (and on speed, where held), nothing to turn · inside noise: what is left is "
            "the "
            "gauge's own scatter, finer is not to be had · turn: make the moves and read again · read again: take "
            "the row "
            "again, turn nothing · out of step: bodies agree, but barrels within a body differ and no bypass can "
            "mend it · "
            "no answer: a screw does nothing (finding) · at its stop: a screw would have to leave its range "
            "(finding) · "
            "unsound readings: zeros, a stuck gauge (finding)",
            "even",
            "inside noise",
            "turn",
            "read again",
            "out of step",
            "no answer",
            "at its stop",
            "unsound readings",
        ),
        "gap": _GAP,
        "speed_off": _OFF,
        "sureness": _SURE,
    },
    frozenset({"moves"}),
    computed("air_balance", "air_balance"),
    {
        **_UNSOUND,
        "screw-does-nothing": ADJUST,
        "screw-at-its-stop": ADJUST,
        "body-out-of-step": CHANGE,
        "body-slightly-out": NOTE,
        "reading-disturbed": NOTE,
    },
)

BODY_BALANCE = Adviser(
    "body_balance",
    1,
    "Within each body: opens the bypass of the lower barrel until it meets its neighbour, one bypass a body staying "
    "shut; "
    "without bypass screws judges the difference. Two to three rows; allow 6.",
    {
        "flow": reading("the gauge, barrel by barrel", "airflow", "depression", each=("barrel",)),
        "bypass": screw("the bypass screws, where fitted", "air", "bypass", each=("barrel",), optional=True),
        **_TOLERANCES,
        "body_limit": AIR_BALANCE.inputs["body_limit"],
        "by_aim": AIR_BALANCE.inputs["by_aim"],
    },
    {
        "verdict": says(
            "even · inside noise · turn · read again, as in air_balance · out of step: past the limit, or no bypass "
            "to mend "
            "it: a plate or spindle to mend (finding) · no answer: a bypass does nothing (finding) · at its stop · "
            "unsound readings",
            "even",
            "inside noise",
            "turn",
            "read again",
            "out of step",
            "no answer",
            "at its stop",
            "unsound readings",
        ),
        "gap": gives("the largest difference within a body, as a fraction of the body's mean", "%", "0", "200"),
        "sureness": _SURE,
    },
    frozenset({"moves"}),
    computed("body_balance", "body_balance"),
    {
        **_UNSOUND,
        "bypass-does-nothing": ADJUST,
        "screw-at-its-stop": ADJUST,
        "body-out-of-step": CHANGE,
        "body-slightly-out": NOTE,
        "both-bypasses-open": ADJUST,
        "reading-disturbed": NOTE,
    },
)

IDLE_SPEED = Adviser(
    "idle_speed",
    1,
    "Brings the engine to speed by an equal change of flow on every body, so that the balance stays. One to two moves; "
    "allow 6 readings.",
    {
        "speed": _SPEED,
        "screw": AIR_BALANCE.inputs["screw"],
        "coupling": AIR_BALANCE.inputs["coupling"],
        "master": AIR_BALANCE.inputs["master"],
        **_TARGET,
    },
    {
        "verdict": says(
            "on speed · turn: make the moves and read again · read again · no answer: the screws don't "
            "change the "
            "speed (finding) · at its stop: the plates are shut and it still runs too fast, or fully open "
            "(finding) · unsound readings",
            "on speed",
            "turn",
            "read again",
            "no answer",
            "at its stop",
            "unsound readings",
        ),
        "speed_off": _OFF,
        "sureness": _SURE,
    },
    frozenset({"moves"}),
    computed("idle_speed", "idle_speed"),
    {**_UNSOUND, "speed-does-not-follow": ADJUST, "will-not-idle-down": ADJUST, "screw-at-its-stop": ADJUST},
)

#: The air screws, bound where an adviser of mixture shall know what air moved: more air leans its barrel.
_AIR = {
    "air": screw(
        "the speed screws, so that air moved between rows is known",
        "air",
        "plate",
        each=("carb", "barrel", "bank"),
        optional=True,
    ),
    "coupling": AIR_BALANCE.inputs["coupling"],
    "bypass": AIR_BALANCE.inputs["bypass"],
}

IDLE_MIXTURE = Adviser(
    "idle_mixture",
    1,
    "Finds where each mixture screw belongs, several barrels in one round: from lambda or CO by barrel where bound, "
    "else from "
    "speed by a designed pattern of moves whose crest it fits; ends on the lean side of best. With lambda or CO two to "
    "three rows; with speed alone up to 3 readings a barrel and 6 besides: allow 4 x barrels + 8.",
    {
        "screw": screw(
            "the mixture screws, positions known from the seat",
            "mixture",
            "jet",
            "screw",
            "air",
            "bypass",
            each=("barrel", "carb"),
        ),
        "speed": reading("engine speed, gauge off, averaged", "engine speed", optional=True),
        "lambda": reading("lambda by barrel or cylinder", "lambda", each=("barrel", "cylinder", "carb"), optional=True),
        "co": reading("CO by barrel or cylinder", "CO", each=("barrel", "cylinder", "carb"), optional=True),
        "lambda_low": number("richest good mixture (left out: 0.86)", "", "0.6", "1.2", optional=True),
        "lambda_high": number("leanest good mixture (left out: 0.96)", "", "0.6", "1.2", optional=True),
        "sweep": number(
            "half the excursion a screw is swept by (left out: by its band)", "turn", "1/16", "2", optional=True
        ),
        "low": number("lower end of the screw's band (left out: by its kind)", "turn", "0", "10", optional=True),
        "high": number("upper end of the band", "turn", "0", "10", optional=True),
        **_AIR,
        "target": _TARGET["target"],
    },
    {
        "verdict": says(
            "best: every screw stands where it belongs · turn: make the moves, read again · read again: turn nothing "
            "· no "
            "answer: a barrel does not answer its screw (finding with the checks in order) and the rest is set · "
            "lost: a "
            "position is unknown: count the screws in to their seats and back · at its stop: a screw would have to "
            "leave "
            "its range (finding), the rest is set · unsound readings",
            "best",
            "turn",
            "read again",
            "no answer",
            "lost",
            "at its stop",
            "unsound readings",
        ),
        "left": gives("barrels not yet set", "", "0", "48"),
        "speed_gain": gives("speed gained since the search began", "rpm", "-5000", "5000"),
        "sureness": _SURE,
        "barrels": says(
            "each barrel: set, sought, silent (does not answer), stopped (at the end of its screw), unknown",
            "set",
            "sought",
            "silent",
            "stopped",
            "unknown",
            each="barrel",
        ),
    },
    frozenset({"moves"}),
    computed("idle_mixture", "idle_mixture"),
    {
        **_UNSOUND,
        "barrel-does-not-answer": ADJUST,
        "mixture-screw-at-its-stop": ADJUST,
        "weak-cylinder": CHANGE,
        "lambda-lean-by-misfire": NOTE,
        "meters-disagree": NOTE,
        "position-lost": ADJUST,
    },
)

_VERDICT_OF_JET = ("right", "perhaps too small", "perhaps too large", "too small", "too large", "unknown")

IDLE_JETS = Adviser(
    "idle_jets",
    1,
    "Judges the idle jets from where the mixture screws came to rest and from everything else that is known, and "
    "names the "
    "next stocked size. After a change it says whether the change did what it promised. Asked once a round of mixture.",
    {
        "screw": screw("the mixture screws at rest", "mixture", "jet", "screw", "air", "bypass", each=("barrel",)),
        **_AIR,
        "low": number("lower end of the screw's band", "turn", "0", "10"),
        "high": number("upper end of the band", "turn", "0", "10"),
        "doubt_low": number(
            "below it the jet is wrong for sure (left out: by the screw's kind)", "turn", "0", "10", optional=True
        ),
        "doubt_high": number("above it the jet is wrong for sure", "turn", "0", "12", optional=True),
        "flow": reading("the latest row of the gauge", "airflow", "depression", each=("barrel", "carb"), optional=True),
        "speed": reading("the latest speed", "engine speed", optional=True),
        "lambda": IDLE_MIXTURE.inputs["lambda"],
        "co": IDLE_MIXTURE.inputs["co"],
        "air_even": flag("whether the air was found even (left out: judged from `flow`)"),
        "on_speed": flag("whether the speed is at target (left out: judged from `speed`)"),
        "mixture_set": flag("whether the mixture search ended well (left out: from the evidence)"),
        "hole_uncovered": truths("barrels whose first progression hole is uncovered: which(...)"),
        "leak": truths("barrels where the leak test showed a leak: which(...)"),
        "leaks_excluded": flag("whether the leak test was made on every suspect (left out: no)"),
        "level": reading(
            "fuel level against the specified one, mm, negative when low", "fuel level", each=("carb",), optional=True
        ),
        "progression": choice("what the creep test said", "clean", "flat", "snatches", "not done"),
        "stock_step": number("step of the stocked sizes (left out: 5)", "", "1", "10", optional=True),
    },
    {
        "verdict": says(
            "right: every screw rests in its band · all too small · all too large: change all (parts given) · some "
            "out: one "
            "or several barrels alone are out, checks first (`barrels`, findings in order) · change: the checks "
            "point to the jet of "
            "`barrels` (parts given) · mixed: some one way and some the other, no rule fits · withheld: the evidence "
            "is spoilt, see "
            "`reason`",
            "right",
            "all too small",
            "all too large",
            "some out",
            "change",
            "mixed",
            "withheld",
        ),
        "reason": says(
            "why it is withheld",
            "none",
            "air not even",
            "speed off",
            "hole uncovered",
            "position unknown",
            "mixture not found",
            "leak not excluded",
            "level off",
            "no band",
        ),
        "barrels": says("each barrel's jet", *_VERDICT_OF_JET, each="barrel"),
        "untold": says(
            "why the jet of a barrel is unknown",
            "none",
            "air not even",
            "speed off",
            "hole uncovered",
            "position unknown",
            "mixture not found",
            "leak not excluded",
            "level off",
            "no band",
            "between sizes",
            each="barrel",
        ),
        "suspects": gives("barrels that are out alone", "", "0", "48"),
        "sizes": gives("by how many sizes, greatest, negative where too large", "", "-9", "9"),
        "promise": says("what the last change of jets did: none made, kept, not kept", "none", "kept", "not kept"),
        "sureness": _SURE,
    },
    frozenset({"moves", "parts"}),
    computed("idle_jets", "idle_jets"),
    {
        "idle-jet-too-small": CHANGE,
        "idle-jet-too-large": CHANGE,
        "barrel-out-alone": ADJUST,
        "jets-mixed": ADJUST,
        "jet-verdict-withheld": NOTE,
        "jet-change-not-kept": ADJUST,
        "jet-odd-one-out": NOTE,
        "level-off": ADJUST,
        "air-leak": CHANGE,
    },
)

JET_CHECKS = Adviser(
    "jet_checks",
    1,
    "Tells a wrong or dirty jet from an air leak, a low fuel level and a weak cylinder, from the checks made on a "
    "barrel that "
    "is out alone, and says which check comes next. At most 6 answers a barrel.",
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
        "both_out": flag("whether its neighbour in the body is out the same way"),
        "jet_differs": flag("whether the number on this jet differs from the others'"),
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
        "sureness": _SURE,
    },
    frozenset(),
    computed("jet_checks", "jet_checks"),
    {
        "air-leak": CHANGE,
        "spindle-worn": CHANGE,
        "fuel-level-off": ADJUST,
        "weak-cylinder": CHANGE,
        "idle-jet-wrong": CHANGE,
        "idle-jet-dirty": ADJUST,
        "fault-not-told-apart": ADJUST,
    },
)

JET_SWAP = Adviser(
    "jet_swap",
    1,
    "Gives the parts of a swap: each barrel that is out alone changes its idle jet with a neighbour that is not.",
    {"screw": IDLE_JETS.inputs["screw"], "low": IDLE_JETS.inputs["low"], "high": IDLE_JETS.inputs["high"], **_AIR},
    {
        "verdict": says(
            "swap: fit the parts as given · cannot: no sound neighbour, or jet numbers unknown", "swap", "cannot"
        )
    },
    frozenset({"moves", "parts"}),
    computed("jet_swap", "jet_swap"),
    {},
)

JET_NUMBERS = Adviser(
    "jet_numbers",
    1,
    "Holds the numbers read off the idle jets against each other, before anything is set by them. Ask once.",
    {},
    {
        "verdict": says(
            "alike · odd: some bear another number than most (parts make them alike) · unknown: too few "
            "numbers, or no number that most bear",
            "alike",
            "odd",
            "unknown",
        ),
        "odd": gives("how many differ from most", "", "0", "48"),
    },
    frozenset({"parts"}),
    computed("jet_stamps", "jet_numbers"),
    {"jet-odd-one-out": NOTE},
)

LINKAGE_BALANCE = Adviser(
    "linkage_balance",
    1,
    "Compares the row with the linkage on, at idle or held off idle, with the row before: a link that holds a body "
    "open, or "
    "bodies that do not open together. Allow 4 rows.",
    {
        "flow": _FLOW,
        "before": row(
            "the row at idle with the linkage off (a kept row; left out: found in the evidence)", "kg/h", "barrel"
        ),
        **_TOLERANCES,
        "off_idle": flag("whether this row was taken off idle, speed held (left out: by the state `hold`)"),
        "speed": reading("engine speed with the linkage on", "engine speed", optional=True),
    },
    {
        "verdict": says(
            "follows: nothing moved · link holds: a body stands further open than before (finding) · "
            "apart: off "
            "idle the bodies do not open together (finding) · read again · unsound readings",
            "follows",
            "link holds",
            "apart",
            "read again",
            "unsound readings",
        ),
        "gap": _GAP,
        "worst": gives("the body that is furthest out, 0 for none", "", "0", "12"),
        "sureness": _SURE,
    },
    frozenset(),
    computed("linkage", "linkage_balance"),
    {**_UNSOUND, "link-holds-body": ADJUST, "bodies-open-apart": ADJUST, "spindle-twisted": CHANGE},
)

#: Every adviser, by name: those of the idle routine, then sizing, the main circuit and exhaust gas.
ADVISERS: dict[str, Adviser] = {
    a.name: a
    for a in (
        AIR_BALANCE,
        BODY_BALANCE,
        IDLE_SPEED,
        IDLE_MIXTURE,
        IDLE_JETS,
        JET_CHECKS,
        JET_SWAP,
        JET_NUMBERS,
        LINKAGE_BALANCE,
    )
} | CIRCUITS


def shipped() -> Registry:
    """The advisers that come with the program, by name."""
    return ADVISERS
