"""The technician's hands at a virtual engine: a step of the line protocol in, its answer out, a log of the work.

He does what the step says and decides nothing: sets the state, turns screws with a hand's accuracy, fits parts, takes
the readings by their `quantity`, and says what he sees (a stall, hunting) where the step offers a symptom of that kind.
Choices are listed from healthy to worst (see `checks`). What the words of a step ask beyond that he does not read.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.bench.plant import assumed, gauges, inspections
from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians import hand, mending
from engine.quantity.units import UNITS, convert

MEASURED = frozenset({"airflow", "lambda", "CO", "depression"})
#: Which way opens, by the place where a screw works: in for plates and couplings, out for seats.
OPENS = {"plate": "in", "coupling": "in", "bypass": "out", "jet": "out"}
#: What a question calls a thing that was mended.
PUT_RIGHT = frozenset({"put right", "mended"})
_STOPPED_WORDS = ("dies", "stall", "stops", "will not", "won't", "dead")


@dataclass(slots=True)
class Work:
    """What was done: `rounds` are answers with a row of airflow, lambda, CO or depression; a move is one screw once."""

    rounds: float = 0
    moves: int = 0
    stops: int = 0
    stalls: int = 0
    starts: int = 0
    jets: int = 0
    answers: int = 0


class Hands:
    """A technician at `engine`; one that `mends` puts right on the spot what a shop can of the faults that he finds."""

    def __init__(self, engine: VirtualEngine, mends: bool = False) -> None:
        self.engine, self.mends = engine, mends
        self._ill: dict[str, list[int]] = {}
        self._standing: Sequence[Mapping[str, Any]] = ()
        self._dealt: set[str] = set()
        self._wolf: int | None = None
        self.work = Work()
        self._known: dict[str, tuple[str, str | None]] = {}
        self._told: set[str] = set()
        self._stops: set[frozenset[str]] = set()
        self._swapped: set[frozenset[int]] = set()

    def answer(self, step: Mapping[str, Any]) -> dict[str, Any]:
        """Do one step and answer it: `readings`, a `symptom` or `done`, with `understood` and `moved` beside."""
        self.work.answers += 1
        self._standing = step.get("findings", ())
        out: dict[str, Any] = {}
        if [ask["name"] for ask in step.get("read", ())] == ["stop_gate"]:
            return self._at_stop(step)
        if any(c.get("understand") for c in step.get("cautions", ())):
            out["understood"] = True
        for ask in step.get("read", ()):
            self._known[ask["name"]] = (ask.get("quantity") or "other", ask.get("unit"))
        started = self._stand(step.get("state") or {})
        made, as_asked = [], True
        for move in step.get("moves", ()):
            done = self._make(move)
            as_asked &= done is move
            made.append(done)
        if not as_asked:
            out["moved"] = made
        self._fit(step.get("fit", ()))
        self._pass_time(step)
        seen = self._seen(step, started)
        if seen is not None:
            return out | {"symptom": seen}
        if not step.get("read"):
            return out | {"done": True}
        if any(ask.get("quantity") in MEASURED and ask.get("each") for ask in step["read"]):
            self.work.rounds += 1
        return out | {"readings": {ask["name"]: self._read(ask) for ask in step["read"]}}

    def _at_stop(self, step: Mapping[str, Any]) -> dict[str, Any]:
        """He mends what he can and has it read again, once; what is still there he goes on from, to see the whole."""
        codes = frozenset(f["code"] for f in step.get("findings", ()) if f["severity"] == "stop")
        first = self._puts_right() if self.mends else codes not in self._stops
        self._stops.add(codes)
        if first and "mended" in step["read"][0]["choices"]:
            return {"readings": {"stop_gate": "mended"}}
        return {"readings": {"stop_gate": "go on knowingly"}, "reason": "a trial: the rest is to be seen, too"}

    # --- how things stand ---------------------------------------------------------------------------------------
    def _stand(self, state: Mapping[str, Any]) -> bool:
        """Bring the engine into the state of the step; tell whether it had to be started."""
        wanted = dict(state)
        wanted["hold"] = _number(wanted.get("hold"))
        now = self.engine.state
        start = wanted.get("engine") == "running" and now["engine"] != "running"
        if wanted.get("engine") == "stopped" and now["engine"] == "running":
            self.work.stops += 1
        self.work.starts += start
        if any(now.get(k) != v for k, v in wanted.items()):
            self.engine.set_state(wanted)
        return start

    def _pass_time(self, step: Mapping[str, Any]) -> None:
        wait = step.get("wait") or {}
        seconds = _number(wait.get("seconds") or wait.get("for") or wait.get("at_most")) or 0.0
        places = sum(int(ask.get("count") or 1) for ask in step.get("read", ()))
        self.engine.pass_time(assumed.STEP_MINUTES + (seconds + places * assumed.READING_SECONDS) / 60.0)

    def _seen(self, step: Mapping[str, Any], started: bool) -> str | None:
        """The id of a symptom to give, if one is seen, was not told since it was last away, and is offered."""
        engine = self.engine
        offered: dict[str, str] = {}
        for s in step.get("symptoms", ()):
            offered.setdefault(s["kind"], s["id"])
        if (step.get("state") or {}).get("engine") != "running":
            return None
        if engine.settle() == "stall":
            self.work.stalls += 1
            self._told.clear()
            if any(_stops(ask) for ask in step.get("read", ())):
                return None
            order = ("will not start", "stall") if started else ("stall", "will not start")
            return next((offered[k] for k in order if k in offered), None)
        if engine.state["hold"]:
            return None
        spits = engine.coolant > 50 and max(engine.now.lambdas) > assumed.SPIT_LAMBDA
        for kind, there in (("spit-back", spits), ("hunting", engine.hunting > assumed.HUNTING_SEEN_RPM)):
            if not there:
                self._told.discard(kind)
            elif kind in offered and kind not in self._told and step.get("read"):
                self._told.add(kind)
                return offered[kind]
        return None

    # --- moves and parts ----------------------------------------------------------------------------------------
    def _make(self, move: Mapping[str, Any]) -> Mapping[str, Any]:
        """Make one move; the same object back where it went as asked, else what was done."""
        self.work.moves += 1
        at = _at(move)
        acts, carb, barrel = move.get("acts", "air"), move.get("carb") or 1, move.get("barrel")
        if at in ("plate", "coupling"):
            barrel = None
        before = self.engine.position(at, carb, barrel)
        aim = move.get("aim")
        if aim:
            quantity, unit = self._known.get(aim["reading"], ("airflow", None))
            value = _to(float(aim["value"]), unit, gauges.UNITS.get(quantity))
            rows = self._watched(aim.get("place"))
            turns = hand.aim(self.engine, acts, at, carb, barrel, quantity, value, rows)
            shown = hand.shown(self.engine, quantity, rows or hand.own(self.engine, at, carb, barrel))
            if abs(shown - value) < 0.2 * abs(value):
                return move
            told, way = round(abs(turns) * 16) / 16, OPENS[at] if turns >= 0 else _other(OPENS[at])
            return {**move, "turns": told, "direction": way, "aim": None, "position": None}
        asked, position = move.get("turns"), move.get("position")
        if position is not None and float(position) == 0.0:
            hand.seat(self.engine, acts, at, carb, barrel)
        elif asked is not None:
            sign = 1.0 if move["direction"] == OPENS[at] else -1.0
            hand.turn(self.engine, acts, at, carb, barrel, sign * float(asked))
        elif position is not None:  # where it stands is not known: to the seat first, then out
            hand.seat(self.engine, acts, at, carb, barrel)
            hand.turn(self.engine, acts, at, carb, barrel, float(position))
        short = abs(self.engine.position(at, carb, barrel) - before) - float(asked or 0.0)
        if asked is not None and position is None and short < -0.06:
            return {**move, "turns": round((float(asked) + short) * 16) / 16}
        return move

    def _watched(self, place: Mapping[str, Any] | None) -> list[int] | None:
        if not place or not place.get("carb"):
            return None
        first, per = (place["carb"] - 1) * self.engine.per_carb, self.engine.per_carb
        return [first + place["barrel"] - 1] if place.get("barrel") else list(range(first, first + per))

    def _fit(self, parts: Sequence[Mapping[str, Any]]) -> None:
        """Fit parts. Two barrels that get each other's jet number change their jets; else the jet comes new."""
        jets = [p for p in parts if p["part"] == "idle jet"]
        left = list(jets)
        for one in jets:
            for two in jets:
                if one in left and two in left and one is not two and self._is_swap(one, two):
                    self.engine.swap_jets(*(self.engine.index(p["carb"], p.get("barrel") or 1) for p in (one, two)))
                    left = [p for p in left if p is not one and p is not two]
        self.work.jets += len(left)
        for part in [p for p in parts if p["part"] != "idle jet"] + left:
            self.engine.fit(part["part"], part["carb"], part.get("barrel"), float(part["size"]))

    def _is_swap(self, one: Mapping[str, Any], two: Mapping[str, Any]) -> bool:
        stamps = self.engine.stamps
        a, b = (self.engine.index(p["carb"], p.get("barrel") or 1) for p in (one, two))
        froms = [p.get("from") for p in (one, two)]
        if froms != [None, None]:
            return froms == [{"carb": p["carb"], "barrel": p.get("barrel")} for p in (two, one)]
        return a != b and float(one["size"]) == stamps[b] and float(two["size"]) == stamps[a]

    # --- readings -----------------------------------------------------------------------------------------------
    def _read(self, ask: Mapping[str, Any]) -> Any:
        each = ask.get("each")
        places = self._places(each, ask.get("of"), int(ask.get("count") or 1))
        self._wolf = inspections.cries_wolf(self.engine, ask.get("quantity") or "", len(places))
        values = [self._value(ask, rows, i) for i, rows in enumerate(places)]
        if self.mends and ask.get("quantity") in mending.BY_QUANTITY:
            ill = [b for value, rows in zip(values, places, strict=True) if _unsound(ask, value) for b in rows]
            self._ill[ask["quantity"]] = ill
            if ask["quantity"] in mending.AT_ONCE:
                mending.at(self.engine, mending.BY_QUANTITY[ask["quantity"]], ill)
        return values if each else values[0]

    def _places(self, each: str | None, of: Mapping[str, Any] | None, count: int) -> list[list[int]]:
        e = self.engine
        if not each:
            return [self._watched(of) or list(range(e.barrels))]
        if each == "carb":
            return [self._watched({"carb": c + 1}) or [] for c in range(e.carbs)]
        if each == "gap":
            return [[k] for k in range(e.carbs - 1)]
        per = e.job.bank.cylinders_per_barrel if each == "cylinder" and not e.body.build.shared else 1
        return [[min(i // per, e.barrels - 1)] for i in range(count)]

    def _value(self, ask: Mapping[str, Any], rows: list[int], i: int) -> Any:
        quantity = ask.get("quantity") or "other"
        if ask.get("choices"):
            return self._choice(ask, quantity, rows, self._wolf == i)
        try:
            value, unit = self._number(ask, quantity, rows, i)
        except gauges.NotTakeable:
            if ask.get("may_lack"):
                return None
            value, unit = self._held(ask, quantity, rows, i)
        return self._rounded(ask, _to(value, unit, ask.get("unit")))

    def _choice(self, ask: Mapping[str, Any], quantity: str, rows: list[int], wolf: bool) -> str:
        choices: Sequence[str] = ask["choices"]
        healthy = ask.get("healthy")
        sound = healthy if isinstance(healthy, str) else None
        if self.mends and (done := next((c for c in choices if c in PUT_RIGHT), None)):
            if self._puts_right():
                return done
            return next((c for c in choices if c.startswith("go on")), sound or choices[0])
        if self.engine.stalled and _stops(ask):
            return next(c for c in choices if any(w in c.lower() for w in _STOPPED_WORDS))
        return inspections.choose(self.engine, quantity, rows, choices, sound, wolf)

    def _puts_right(self) -> bool:
        """Mend what was just found, as far as a shop does on the spot; whether it was such a thing."""
        could = False
        for quantity, rows in self._ill.items():
            if rows:
                mending.at(self.engine, mending.BY_QUANTITY[quantity], rows)
                could = True
        self._ill.clear()
        new = [f for f in self._standing if f"{f['code']} {f['where']}" not in self._dealt]
        self._dealt |= {f"{f['code']} {f['where']}" for f in new}
        return mending.of_findings(self.engine, new) or could

    def _number(self, ask: Mapping[str, Any], quantity: str, rows: list[int], i: int) -> tuple[float, str | None]:
        engine, averaged, take = self.engine, ask.get("average") is not None, int(ask.get("take") or 1)
        if quantity in gauges.POSITIONS:
            row = i if ask.get("each") else rows[0] // (1 if quantity.startswith(("mix", "byp")) else engine.per_carb)
            return gauges.count_to_seat(engine, quantity, row), "turn"
        if quantity == "speed drop":
            take = max(take, 3 if averaged else 1)
            noise = [engine.rng.gauss(0.0, 4.2) for _ in range(take)]
            return inspections.speed_drop(engine, rows[0]) + sum(noise) / take, "rpm"
        if quantity in gauges.UNITS:
            whole = rows if ask.get("each") or ask.get("of") else list(range(engine.barrels))
            return gauges.one(engine, quantity, whole, averaged=averaged, take=take), gauges.UNITS[quantity]
        low, high = _ends(ask)
        if quantity in inspections.KNOWN_NUMBERS:
            return inspections.measure(engine, quantity, rows, low, high), None
        return 0.5 * (low + high), None

    def _held(self, ask: Mapping[str, Any], quantity: str, rows: list[int], i: int) -> tuple[float, str | None]:
        """A running quantity of an engine that stalls, where no symptom can be given: kept alive at the pedal."""
        self.engine.set_state({"engine": "running", "hold": self.engine.body.target})
        return self._number(ask, quantity, rows, i)

    def _rounded(self, ask: Mapping[str, Any], value: float) -> float | str:
        step = _number(ask.get("step"))
        if step:
            value = round(value / step) * step
        if ask.get("over_range") and ask.get("range") and value > float(ask["range"][1]):
            return "over range"
        if ask.get("range"):
            value = max(float(ask["range"][0]), min(value, float(ask["range"][1])))
        return round(value, 6)


def _unsound(ask: Mapping[str, Any], value: Any) -> bool:
    """Whether an answer is not that of a sound engine."""
    healthy = ask.get("healthy")
    if value is None or healthy is None:
        return False
    if isinstance(value, str):
        return bool(value != healthy)
    low, high = _ends(ask)
    return not low <= value <= high


def _at(move: Mapping[str, Any]) -> str:
    """Where a screw works on this engine, from what the file says it works at and acts on."""
    at = move.get("on") or move.get("at")
    if at in ("plate", "bypass", "coupling"):
        return str(at)
    return "jet" if move.get("acts") == "mixture" else "plate"


def _stops(ask: Mapping[str, Any]) -> bool:
    return any(w in c.lower() for c in ask.get("choices") or () for w in _STOPPED_WORDS)


def _other(direction: str) -> str:
    return "out" if direction == "in" else "in"


def _number(value: Any) -> float | None:
    """A number, or the one at the front of a text like `1500 rpm`; None for `none` and the like."""
    if isinstance(value, int | float | Fraction) and not isinstance(value, bool):
        return float(value)
    found = re.match(r"\s*(-?\d+(?:\.\d+)?)", value) if isinstance(value, str) else None
    return float(found.group(1)) if found else None


def _to(value: float, here: str | None, there: str | None) -> float:
    """`value` in unit `here` expressed in `there`; unchanged where either is not said or they do not fit."""
    if here is None or there is None or here == there or here not in UNITS or there not in UNITS:
        return value
    if UNITS[here].dimension != UNITS[there].dimension:
        return value
    return float(convert(Fraction(value), here, there))


def _ends(ask: Mapping[str, Any]) -> tuple[float, float]:
    """The range of a sound answer: `healthy`, else the middle tenth of the reading's own range."""
    low, high = (float(x) for x in ask.get("range") or (0.0, 1.0))
    middle, half = 0.5 * (low + high), 0.05 * (high - low)
    healthy = ask.get("healthy")
    ends = [healthy.get("from"), healthy.get("to")] if isinstance(healthy, Mapping) else healthy
    if not isinstance(ends, list | tuple) or len(ends) != 2:
        return middle - half, middle + half
    first = float(ends[0]) if ends[0] is not None else low
    last = float(ends[1]) if ends[1] is not None else high
    return first, last
