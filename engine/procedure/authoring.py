"""A sound procedure file to start from, for a family and a bank; it writes text, and neither opens nor checks a file.

The text is meant to be edited: short, one action a step, every number with its source; it passes `evendraw check` as it
stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from engine.vocabulary.families import ANY, FAMILIES

#: What a name may be: it becomes the name of a file on every system.
NAME = re.compile(r"[a-z][a-z0-9_-]{0,60}")


class NotAStart(ValueError):
    """No file can be started from these; the message is a sentence."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """How the air is read: quantity, unit, and the text of its reading."""

    quantity: str
    unit: str
    reading: str
    least: str


GAUGES = {
    "airflow": Gauge(
        "airflow",
        "kg/h",
        """\
  air:
    ask: Airflow
    how: Gauge square and sealed on the mouth, five seconds, middle of the swing. Lift it off between mouths.
    quantity: airflow
    each: {each}
    unit: kg/h
    range: [0, 30]
    step: 0.1
    average: 5 s
    source: "common practice: equal rather than any figure; range, step and average assumed"
""",
        'least_flow: {value: 0.25 kg/h, range: [0.05, 1], source: "from memory: 0.25 kg/h is good"}',
    ),
    "depression": Gauge(
        "depression",
        "kPa",
        """\
  air:
    ask: Depression
    how: Gauges checked against each other on one carburettor first. Damp the needle until it only trembles.
    quantity: depression
    each: {each}
    unit: kPa
    range: [0, 90]
    step: 0.2
    average: 5 s
    healthy: {{from: 15, to: 40}}
    source: "published: S34; equal rather than any figure; range, step and average assumed"
""",
        'least_depression: {value: 1.3 kPa, range: [0.3, 5], source: "from memory: the strict end of service limits"}',
    ),
}


@dataclass(frozen=True, slots=True)
class Manner:
    """What a family changes of the file: its word for a carburettor, how the vehicle is held, its idle, its gauge, its
    mixture screw. Common practice, as everything that the file starts with."""

    carb: str = "carb"
    held: str = "Brake on, out of gear, wheels chocked."
    idle: tuple[int, int] = (800, 1000)
    gauge: str = "airflow"
    screw: str = "mixture_screw"
    seat: str = "Seat every mixture screw finger-light, then open it 1 1/2 turns."
    lines: str = """\
  mixture_screw:
    each: barrel
    acts: mixture
    at: jet
    in: leaner
    out: richer
    unit: turn
    zero: seated
    step: 1/16 turn
    range: [0, 8]
"""
    start: str = "1.5 turn"
    each: str = "barrel"
    kind: str = "short taper"


_SCREW = """\
  {name}:
    each: carb
    acts: mixture
    at: {at}
    in: leaner
    out: richer
    unit: {unit}
    zero: seated
    step: {step}
    range: {range}
"""
#: By a word in the family's name.
MANNERS = {
    "motorcycle": Manner(
        held="On the centre stand, in neutral, a fan at the engine.",
        idle=(950, 1250),
        gauge="depression",
        screw="pilot_screw",
        seat="Seat every pilot screw finger-light, then open it 1 1/2 turns.",
        lines=_SCREW.format(name="pilot_screw", at="screw", unit="turn", step="1/8 turn", range="[0, 8]"),
        each="carb",
        kind="fuel screw",
    ),
    "constant depression": Manner(
        carb="body",
        idle=(700, 900),
        screw="jet_nut",
        seat="Screw every jet nut up until it stops, then down twelve flats.",
        lines=_SCREW.format(name="jet_nut", at="jet", unit="flat", step="1 flat", range="[0, 36]"),
        start="12 flat",
        each="carb",
        kind="jet nut",
    ),
    "downdraught": Manner(carb="carburettor"),
    "sidedraught": Manner(carb="body"),
}


def manner(family: str) -> Manner:
    """The manner of a family, by what its name says."""
    return next((m for word, m in MANNERS.items() if word in family.lower()), Manner())


def _declared(family: str) -> str:
    """The line that declares a family which the vocabulary does not have."""
    known = {ANY, *(f.name for f in FAMILIES)}
    return "" if family in known else f"declares: {{families: {{{family}: say what it is}}}}\n"


_JOB = """\
# An invented job to try {name} with: evendraw rehearse {name}.yaml --job {name}-job.yaml
title: Invented, to try {name}
engine: {{cylinders: {cylinders}, displacement: {cc} cc, idle_speed: {idle} rpm}}
bank:
  family: {family}
  carbs: {carbs}
  barrels_per_carb: {barrels}
  manifold: {manifold}
  mixture_screw: {kind}
instruments: {{airflow_gauge: {airflow}, vacuum_gauges: {vacuum}, tachometer: true}}
"""


def starting_job(name: str, family: str = "any", carbs: int = 2, barrels: int = 1, gauge: str | None = None) -> str:
    """The text of an invented job for the file of `starting_file`, as large an engine as that bank needs."""
    how = manner(family)
    from engine.job.model import MOST_CYLINDERS

    # One barrel for all, or more than any engine has cylinders: what they feed is shared.
    shared = carbs * barrels == 1 or carbs * barrels > MOST_CYLINDERS
    cylinders = 4 if carbs * barrels == 1 else min(carbs * barrels, MOST_CYLINDERS)
    air = (gauge or how.gauge) == "airflow"
    return _JOB.format(
        name=name,
        family="own family" if family == "any" else family,
        carbs=carbs,
        barrels=barrels,
        cylinders=cylinders,
        cc=400 * cylinders,
        idle=sum(how.idle) // 2,
        manifold="shared" if shared else "separate",
        kind=how.kind,
        airflow=str(air).lower(),
        vacuum=str(not air).lower(),
    )


_HEAD = """\
# yaml-language-server: $schema=./procedure.schema.json
# A file to start from: make the words, numbers and steps those of your family, and check it again after each change.
procedure: {name}
title: {title}
revision: 1
{declares}for: {{family: {family}, carbs: {carbs}, barrels_per_carb: {barrels}}}
needs: [{needs}]
terms: {{carb: {carb}}}

cautions:
  fumes:
    word: danger
    text: Exhaust gas kills. Tailpipe extraction to open air, or work outdoors. Never leave the engine running alone.
    demanded_by: ["engine: running"]
  moving:
    word: warning
    text: {held} Sleeves and hair clear of belts and fan. Face clear of the intakes.
    demanded_by: ["engine: running"]
  hot_parts:
    word: caution
    text: Exhaust and coolant burn. Gloves on.
    demanded_by: [hot]

facts:
  idle: engine.idle_speed

settings:
  speed_tolerance: {{value: 30 rpm, range: [10, 150], source: common practice}}
"""
_SCREWS = """\
screws:
  speed_screw:
    each: carb
    acts: air
    at: plate
    in: more air
    out: less air
    unit: turn
    zero: first contact
    step: 1/32 turn
    range: [-3, 5]
MIXTURE
readings:
  speed:
    ask: Engine speed
    how: Gauge off, hands off the linkage. Average over ten seconds. No fan or lamps on.
    quantity: engine speed
    unit: rpm
    range: [0, 5000]
    step: 1
    average: 10 s
    healthy: {from: idle - speed_tolerance, to: idle + speed_tolerance}
    source: "derived: the idle speed of the job, and what is let pass; range and step assumed"
"""
_START = """\
symptoms:
  stall: {kind: stall, ask: It stalls, go: stalled}

start: preset
steps:
  preset:
    title: Starting positions
    state: {engine: stopped}
    do: SEAT
    note: The maker's figure governs. Force spoils seat and taper.
    moves: [{screw: NAME, each: EACH, to: START}]
    go: warm

  warm:
    title: Start and warm up
    state: {engine: running}
    hazards: [hot]
    do: Start it and run it until the oil is hot.
    why: No reading counts on a cold engine.
    wait: {until: coolant and oil are hot, at_most: 20 min, why: oil lags the coolant, cut: allowed}
"""
_BALANCE = """\
    go: row

  row:
    title: Read the bank
    limit: {visits: 10, then: not_even}
    do: Speed with the gauge off, then along the bank.
    note: Blip it once and let it settle five seconds first.
    read: [speed, air]
    advise:
      name: next
      adviser: air_balance
      with: {flow: air, speed: speed, screw: speed_screw, tolerance: tolerance, LEAST, speed_tolerance: speed_tolerance}
    branch:
      - {when: next.verdict == 'even' or next.verdict == 'inside noise', go: mixture}
      - {when: next.verdict == 'turn', go: turn}
      - {when: next.verdict == 'read again' or next.verdict == 'unsound readings', go: row}
      - {otherwise: not_even}

  turn:
    title: Turn the speed screws
    do: Make the moves along the bank.
    note: Driver square in the slot, lock nut held.
    make: next
    go: row
"""
_MIXTURE = """\

  mixture:
    title: Speed, for the mixture
    limit: {visits: VISITS, then: set_by_hand}
    do: Read the speed with the gauge off.
    wait: {for: 10 s, why: the mixture settles, cut: allowed}
    read: [speed]
    advise: {name: next_mixture, adviser: idle_mixture, with: {screw: NAME, speed: speed}}
    branch:
      - {when: next_mixture.verdict == 'turn', go: turn_mixture}
      - {when: next_mixture.verdict == 'read again', go: mixture}
      - {when: next_mixture.verdict == 'best', go: LAST}
      - {otherwise: set_by_hand}

  turn_mixture:
    title: Turn the mixture screws
    do: Make the moves.
    make: next_mixture
    go: mixture
"""
_PACE = """\

  pace:
    title: Idle speed
    limit: {visits: 6, then: done}
    do: Read the speed.
    read: [speed]
    record: as left
    advise:
      name: pace_next
      adviser: idle_speed
      with: {speed: speed, screw: speed_screw, speed_tolerance: speed_tolerance}
    branch:
      - {when: pace_next.verdict == 'turn', go: turn_pace}
      - {when: pace_next.verdict == 'read again', go: pace}
      - {otherwise: done}

  turn_pace:
    title: Turn for speed
    do: Make the moves.
    make: pace_next
    go: pace
"""
_LAST_ROW = """\

  last_row:
    title: The row as left
    do: With every lock nut tight, read speed and row once more.
    note: A lock nut turns its screw as it tightens. Hold the screw with the driver.
    read: [speed, air]
    record: as left
    branch:
      - {when: spread(air) <= tolerance * mean(air) or spread(air) <= LEAST, go: pace}
      - {otherwise: row}
"""
_ENDS = """\

  stalled:
    title: It stalled
    limit: {visits: 4, then: will_not_idle}
    state: {engine: stopped}
    do: Open every speed screw an eighth of a turn.
    why: An equal change keeps what balance there is.
    moves: [{screw: speed_screw, each: carb, by: 1/8 turn, direction: in}]
    go: warm

  done: {end: ok, say: Set. Look at the idle again after a day's driving.}
  set_by_hand: {end: failed, say: The mixture was not found from the speed. Leak or weak cylinder first.}
  will_not_idle: {end: failed, say: It does not hold an idle.}
"""
_NOT_EVEN = "  not_even: {end: failed, say: The air would not come even.}\n"


def starting_file(name: str, family: str = "any", carbs: int = 2, barrels: int = 1, gauge: str | None = None) -> str:
    """The text of a sound file for `carbs` carburettors of `barrels` barrels in the manner of the family, read by an
    airflow or a depression gauge (None: the family's usual one).

    Raises `NotAStart` with a sentence where the name can't be a file's or the counts no bank's.
    """
    if not NAME.fullmatch(name):
        raise NotAStart(f"'{name[:60]}' can't name a procedure. Use small letters, digits and dashes, a letter first.")
    if not 1 <= carbs <= 12 or not 1 <= barrels <= 4:
        raise NotAStart(f"{carbs} x {barrels} is no bank: 1 to 12 carburettors with 1 to 4 barrels each.")
    if not re.fullmatch(r"[\w][\w ,()-]{0,60}", family):
        raise NotAStart(f"'{family[:60]}' can't name a family. Use words and dashes.")
    how = manner(family)
    gauge = gauge or how.gauge
    if gauge not in GAUGES:
        raise NotAStart(f"There is no gauge '{gauge}'. Take {' or '.join(GAUGES)}.")
    kind = GAUGES[gauge]
    each = "barrel" if gauge == "airflow" and barrels > 1 else "carb"
    row = (carbs * barrels if each == "barrel" else carbs) > 1
    least = kind.least.split(":")[0]
    title = name.replace("-", " ").replace("_", " ").capitalize()
    head = _HEAD.format(
        name=name,
        family=family,
        carbs=carbs,
        barrels=barrels,
        title=title,
        held=how.held,
        declares=_declared(family),
        carb=how.carb,
        needs=", ".join([*([f"{gauge} gauge"] if row else []), "tachometer", "small flat screwdriver"]),
    )
    parts = [head]
    if row:
        parts += ["  tolerance: {value: 5 %, range: [1, 30], source: common practice}\n", f"  {kind.least}\n"]
    parts += ["\n", _SCREWS]
    if row:
        parts.append(kind.reading.format(each=each))
    parts += ["\n", _START]
    parts.append(_BALANCE.replace("LEAST", f"{least}: {least}") if row else "    go: mixture\n")
    visits = str(4 * carbs * barrels + 8)
    parts.append(_MIXTURE.replace("VISITS", visits).replace("LAST", "last_row" if row else "pace"))
    if row:
        parts.append(_LAST_ROW.replace("LEAST", least))
    parts += [_PACE, _ENDS]
    if row:
        parts.append(_NOT_EVEN)
    text = "".join(parts)
    for mark, said in (
        ("MIXTURE\n", how.lines + "\n"),
        ("SEAT", how.seat),
        ("NAME", how.screw),
        ("EACH", how.each),
        ("START", how.start),
    ):
        text = text.replace(mark, said)
    return text
