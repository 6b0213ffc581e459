"""What each mixture screw's barrel drew at every answer, from the gauge rows and the air screws' turns; it advises
nothing.

Readings of the gauge speak for a whole stretch between two moves nobody can count; so the air of an early answer is
told
from the latest belief, taking back the moves made since.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.carburation.estimation import flows
from engine.carburation.estimation.air_look import coupling_spots, disturbed, plate_spots
from engine.carburation.estimation.asks import AirMoved
from engine.carburation.estimation.flows import Flows
from engine.carburation.estimation.seen import Key, Seen, fitted_screw, history, places, screw_places
from engine.evidence import Evidence, Place, ScrewView
from engine.job.model import Job


@dataclass(frozen=True, slots=True)
class Drawn:
    """`rows`: the air at each mixture screw, answer by answer, kg/h (shares of 1 where no row was taken).

    `all_alike`: the air screws that move the whole bank when turned alike, and `effect`, what a turn of them all
    adds to the mean, as a share of it.
    """

    rows: tuple[tuple[float, ...] | None, ...]
    all_alike: tuple[tuple[ScrewView, Place], ...]
    effect: float


def drawn(job: Job, inputs: AirMoved, evidence: Evidence, spots: Sequence[Place]) -> Drawn:
    """The air of every answer at each of `spots`.

    Air screws bound as `air`, `coupling` and `bypass` are followed between rows; unbound, the latest row stands.
    """
    rows = places("barrel", job)
    sizes = [len(a.readings["airflow"]) for a in evidence.answers if "airflow" in a.readings]
    if sizes and len(rows) not in sizes and job.bank.carbs in sizes:
        rows = places("carb", job)
    taken = [
        [float(v) for v in a.readings["airflow"] if v is not None]
        for a in evidence.answers
        if len(a.readings.get("airflow", ())) == len(rows)
    ]
    level = next((sum(r) / len(r) for r in reversed(taken) if r and sum(r) > 0), 1.0)
    screws = []
    for name, bound in (("air", inputs.air), ("coupling", inputs.coupling), ("bypass", inputs.bypass)):
        view = fitted_screw(bound)
        if view is None:
            continue
        at = screw_places(view, job, inputs)
        if name == "air":
            spread = plate_spots(view, at, rows, fitted_screw(inputs.coupling) is not None, 1)
        elif name == "coupling":
            spread = coupling_spots(view, at, rows, job.bank.carbs)[0]
        else:
            spread = {
                p: [i for i, r in enumerate(rows) if r == p or (r.barrel is None and r.carb == p.carb)] for p in at
            }
        screws.append((view, spread))
    belief = flows.make("airflow", rows, level, screws, disturbed(job), 0.1)
    seen = history(evidence, [v for v, _ in screws])
    told = _smooth(seen, belief.follow(seen), bool(taken))
    plates = [k for k in belief.screws if inputs.air and k[0] == inputs.air.name]
    effect = sum(belief.effect(k)[0] * len(belief.screws[k].moves) for k in plates) / len(rows) / level
    groups = [
        [
            i
            for i, r in enumerate(rows)
            if p.carb in (None, r.carb) and (r.barrel is None or p.barrel in (None, r.barrel))
        ]
        for p in spots
    ]
    out = tuple(
        None if row is None else tuple(max(1e-3, sum(row[i] for i in g) / len(g)) if g else level for g in groups)
        for row in told
    )
    return Drawn(out, tuple((belief.screws[k].view, k[1]) for k in plates), effect)


def _smooth(seen: Sequence[Seen], belief: Flows, gauged: bool) -> list[list[float] | None]:
    """The air of every answer told back from the latest belief, stretch by stretch between turns that nobody can count.

    None in a stretch that no gauge reading tells of (with no gauge at all only the last stretch is told).
    """
    track = belief.track
    out: list[list[float] | None] = [None] * len(track)
    stretch: list[int] = []
    here: list[float] | None = None
    told = False
    for n in reversed(range(len(track))):
        here = list(track[n]) if here is None else here
        out[n] = list(here)
        stretch.append(n)
        told = told or belief.quantity in seen[n].answer.readings or not gauged
        back: dict[Key, float | None] = {k: v for k, v in seen[n].turned.items() if k in belief.screws}
        lost = any(v is None or abs(v) > flows.FARTHEST for v in back.values())
        aimed = any(belief.is_flow(shown) for _, _, shown in seen[n].aims)
        told = told or aimed
        if n == 0 or lost:
            if not told:
                for k in stretch:
                    out[k] = None
            stretch, here, told = [], None, False
            continue
        for key, by in back.items():
            for i in belief.screws[key].moves:
                here[i] -= belief.effect(key)[0] * (by or 0.0)
    return out
