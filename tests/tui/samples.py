"""Hand-made steps of an invented engine, for tests of the screen that need no run: two bodies of two barrels."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

from engine.evidence import Aim, Because, Finding, Move, Part, Place, Suggest
from engine.session.view import Advised, Ask, CautionView, Latest, ScrewRow, SymptomView, TrailMark, View, WaitView
from tui.control.sitting import HalfDone
from tui.drawing.bank import cylinders_of
from tui.drawing.where import Whose

BARRELS = tuple(Place(c, b) for c in (1, 2) for b in (1, 2))
CARBS = (Place(1), Place(2))

FUMES = CautionView(
    "fumes", "danger", "Exhaust gas kills. Tailpipe extraction to open air; an open door is not enough.", True
)
MOVING = CautionView("moving", "warning", "Sleeves and hair clear of belts and fan. Hands clear of the intakes.", False)

FLOW = Ask(
    "flow",
    "Airflow at each barrel",
    "Gauge square and sealed on the mouth, 3 to 5 s, middle of the swing.",
    "airflow",
    "barrel",
    None,
    4,
    BARRELS,
    "kg/h",
    (F(0), F(40)),
    (),
    (F(9, 2), F(11, 2)),
    F(5),
    None,
    F(1, 10),
    True,
    last=None,
    expect=(F(49, 10), F(49, 10), F(49, 10), None),
)
SPEED = Ask(
    "speed",
    "Engine speed, gauge off",
    "Strobe or tachometer, needle at rest.",
    "engine speed",
    None,
    None,
    1,
    (Place(),),
    "rpm",
    (F(200), F(4000)),
    (),
    (F(900), F(1000)),
    None,
    None,
    F(10),
    False,
)
SOUND = Ask(
    "sound",
    "How does it sound?",
    "",
    "other",
    None,
    None,
    1,
    (Place(),),
    None,
    None,
    ("even", "hunting", "lumpy"),
    "even",
    None,
    None,
    None,
    False,
)

SCREWS = (
    ScrewRow(
        "speed_screw",
        "carb",
        "air",
        "plate",
        "turn",
        "first contact",
        CARBS,
        (F(3, 4), F(7, 8)),
        None,
        F(1, 16),
        (F(0), F(4)),
    ),
    ScrewRow(
        "mixture",
        "barrel",
        "mixture",
        "jet",
        "turn",
        "seated",
        BARRELS,
        (F(5, 4), F(9, 8), F(1), None),
        (F(1), F(3, 2)),
        F(1, 8),
        (F(0), F(6)),
    ),
)
LATEST = (
    Latest(
        "flow",
        "airflow",
        "barrel",
        "kg/h",
        (F(48, 10), F(51, 10), F(59, 10), F(57, 10)),
        F(1, 2),
        (F(24, 10), F(17, 10), F(11, 10)),
    ),
)
MOVES = (
    Move("speed_screw", Place(2), "out", "less air", F(1, 8), F(3, 4)),
    Move("speed_screw", Place(1), "in", "more air", aim=Aim("flow", F(49, 10), Place(1, 1))),
)
FINDING = Finding(
    "screw past its band",
    "change part",
    (Place(2, 2),),
    "Its mixture screw rests 2 1/4 turns out: the idle jet is too small for it.",
    "Clean the jet, exclude a leak, then fit the next size.",
    Suggest("idle jet", F(50), F(55)),
    0.8,
    "idle_jets",
)
SYMPTOMS = (
    SymptomView("stall", "stall", "It stalls"),
    SymptomView("hunting", "hunting", "It hunts up and down"),
    SymptomView("spits", "spit-back", "It spits back through the intake"),
)
TRAIL = tuple(
    TrailMark(
        n, "air_balance", "measure", "Read every barrel", n, f"4.{n} 5.1 5.9 5.7 kg/h", f"2026-03-02T10:{40 + n}:00"
    )
    for n in range(1, 6)
)
ADVICE = (
    Advised(
        "next",
        "air_balance",
        1,
        {"verdict": "not even", "spread": "1.1 kg/h"},
        Because(
            "the last three rows and the moves between them",
            "body 2 draws 1.0 kg/h more than body 1",
            "fairly: each screw has moved twice",
            "a row in which body 1 does not follow its screw",
        ),
    ),
)


def view(**changes: Any) -> View:
    """The balancing step of the invented engine, with some of it changed."""
    plain = View(
        "1.1",
        7,
        "twin-choke-sidedraught",
        "air_balance",
        "measure",
        2,
        8,
        "Rough air, between the bodies",
        "Turn as shown with the gauge on, then read every barrel.",
        "The nearer the bodies, the steadier the idle.",
        "The note gets smoother as they come together.",
        "The far body settles last.",
        "",
        None,
        (MOVING,),
        (FUMES,),
        {"engine": "running", "pedal_link": "off", "coupling": "on"},
        (),
        MOVES,
        False,
        (),
        None,
        (FLOW, SPEED),
        SYMPTOMS,
        (FINDING,),
        {"carb": "body", "barrel": "barrel"},
        SCREWS,
        LATEST,
        {},
        ADVICE,
        TRAIL,
        True,
        False,
        None,
        ("Body 2 is still past the tolerance.",),
    )
    return replace(plain, **changes)


def start() -> View:
    """The first running step: a danger to understand, everything new."""
    return view(
        step="start",
        title="Start the engine",
        do="Start it and nurse it by hand until it holds.",
        visit=1,
        limit=None,
        cautions=(FUMES, MOVING),
        standing=(),
        changes=("engine",),
        moves=(),
        read=(),
        latest=(),
        findings=(),
        trail=(),
        advice=(),
        can_undo=False,
        because=(),
        hear="",
        note="",
    )


def warm() -> View:
    """A wait, then a reading."""
    return view(
        step="warm",
        title="Let it warm through",
        do="Hold it by hand, then let it idle.",
        moves=(),
        read=(SPEED,),
        wait=WaitView(F(60), "", "oil lags the coolant", True),
    )


def zero() -> View:
    """Equal moves everywhere, nothing to read."""
    moves = tuple(Move("mixture", p, "in", "leaner", None, F(0)) for p in BARRELS)
    return view(
        step="zero",
        title="Seat the mixture screws",
        do="Turn each one in until it just seats. Force spoils seat and taper.",
        state={"engine": "stopped", "pedal_link": "off"},
        changes=("engine",),
        moves=moves,
        read=(),
        standing=(),
        cautions=(),
    )


def jets() -> View:
    """Parts to fit."""
    return view(
        step="jets",
        title="Fit other idle jets",
        do="Stop the engine. Fit the jets shown, seats clean.",
        moves=(),
        read=(),
        fit=tuple(Part("idle jet", p, F(55)) for p in BARRELS[2:]),
        state={"engine": "stopped"},
        cautions=(),
        standing=(),
    )


LAYOUTS = {"eight": (4, 2)}


def eight() -> View:
    """Four bodies of two barrels, every screw to be turned another amount."""
    places = tuple(Place(c, b) for c in (1, 2, 3, 4) for b in (1, 2))
    row = tuple(F(48 + n, 10) for n in range(8))
    moves = tuple(
        Move("mixture", p, "in" if n % 2 else "out", "leaner" if n % 2 else "richer", F(n + 1, 8), F(9 + n, 8))
        for n, p in enumerate(places)
    )
    screws = (
        ScrewRow(
            "mixture",
            "barrel",
            "mixture",
            "jet",
            "turn",
            "seated",
            places,
            (F(5, 4),) * 8,
            (F(1), F(3, 2)),
            F(1, 8),
            (F(0), F(6)),
        ),
    )
    flow = replace(FLOW, places=places, count=8, expect=None)
    latest = (Latest("flow", "airflow", "barrel", "kg/h", row, F(1, 2), (F(9, 10), F(7, 10))),)
    return view(
        title="Mixture, all barrels", moves=moves, screws=screws, read=(flow,), latest=latest, findings=(FINDING,) * 3
    )


def choices() -> View:
    """Seven questions of one step, each with its choices."""
    said = ("check now", "already done", "not done, no tool", "not done, no time", "not done, declined")
    names = (
        "Valve clearances",
        "Compression",
        "Fuel level in the bodies",
        "Fuel pressure",
        "Full throttle",
        "Ignition",
        "Air leaks",
    )
    read = tuple(replace(SOUND, name=n.lower(), ask=n, choices=said, healthy=None) for n in names)
    return view(
        title="What has been checked?",
        do="Go down the list.",
        moves=(),
        read=read,
        latest=(),
        findings=(),
        visit=1,
        limit=None,
    )


def undone() -> View:
    """A step that was undone: its moves were made and stay made."""
    return view(moves_made=True, can_redo=True)


class FakeSitting:
    """A run made of given steps: each answer that is not refused goes to the next one; everything given is kept."""

    def __init__(self, *views: View, layout: tuple[int, int] = (2, 2)) -> None:
        self.views = list(views)
        self.at = 0
        self.layout = layout
        self.whose = Whose("SAMPLE 1  A. Sample")
        self.marks: dict[Place, str] = {}
        self.card: dict[str, str] = {}
        self.cylinders: dict[Place, str] = cylinders_of(*layout, layout[0] * layout[1], separate=True)
        self.given: list[dict[str, Any]] = []
        self.refuse: str | Exception | None = None
        self.rehearses = False
        self.playing: bool | None = None
        self.pace = 0.05
        self.left = False

    @property
    def view(self) -> View:
        return self.views[self.at]

    def keep(self, half: Any) -> None:
        """What is half done is kept nowhere."""

    def kept(self) -> HalfDone:
        return HalfDone()

    def typed_out(self) -> None:
        """Nothing was kept."""

    def answer(self, **answer: Any) -> str | None:
        if isinstance(self.refuse, Exception):
            raise self.refuse
        if self.refuse:
            return self.refuse
        self.given.append(answer)
        if answer.get("undo"):
            self.at -= 1
        elif not (answer.keys() & {"note", "understood"}) or answer.keys() & {"done", "readings", "symptom"}:
            self.at = min(self.at + 1, len(self.views) - 1)
        elif answer.get("understood"):
            v = self.views[self.at]
            calm = tuple(replace(c, understand=False) for c in v.cautions if not c.understand)
            self.views[self.at] = replace(v, cautions=calm, standing=tuple(c for c in v.cautions if c.understand))
        return None

    def ahead(self) -> str | None:
        return None

    def reading(self, name: str) -> tuple[Any, str | None]:
        return {"flow": [F(49, 10), F(5), F(5), F(49, 10)], "speed": F(950), "sound": "even"}[name], None

    def suspend(self) -> None:
        self.left = True
