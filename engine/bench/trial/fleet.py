"""Random engines with hidden faults for rehearsals and trials, by the fixed rates of `terms`; one seed, one engine."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.bench.plant import anatomy, assumed, nature
from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import KINDS, Fault, kind_named
from engine.bench.terms import RATES
from engine.job.model import Job

SIDEDRAUGHT = "twin-choke sidedraught"


@dataclass(frozen=True, slots=True)
class Specimen:
    """A job as the technician gets it, and what is really wrong with the engine."""

    job: Job
    faults: tuple[Fault, ...]
    seed: int
    fleet: str = "plain"

    def engine(self, cold: bool = False) -> VirtualEngine:
        """A fresh engine of it, as found: just driven in, or `cold` from standing overnight."""
        its = nature.varied(self.job, self.seed) if self.fleet == "varied" else nature.plain(self.job)
        engine = VirtualEngine(self.job, self.faults, self.seed, its)
        if not cold:
            engine.coolant = engine.oil = assumed.DRIVEN_IN_C
            engine.reset()
        return engine


def _either(rng: random.Random, low: float, high: float) -> float:
    return rng.choice((-1, 1)) * rng.uniform(low, high)


def draw_faults(rng: random.Random, job: Job) -> list[Fault]:
    """Faults of one engine by the fixed rates; jets have none where nuts and needles meter."""
    r, out = RATES, []
    bank, metered = job.bank, anatomy.kind_of(job) == "constant depression"
    carbs, per_carb = bank.carbs, 1 if "progressive" in bank.family else bank.barrels_per_carb
    places = [(c + 1, b + 1) for c in range(carbs) for b in range(per_carb)]
    if metered:
        out += [Fault("low damper oil", c + 1, None, 1) for c in range(carbs) if rng.random() < r.damper_dry]
        out += [Fault("sticking piston", c + 1, None, 1) for c in range(carbs) if rng.random() < r.piston_sticks]
    elif rng.random() < r.jets_all_one_size:
        out.append(Fault("wrong jets", size=rng.choice((-1, 1))))
    else:
        for c, b in places:
            if rng.random() < r.jet_one_barrel:
                kind = "wrong jet" if rng.random() < r.jet_stamp_true else "mis-drilled jet"
                out.append(Fault(kind, c, b, rng.choice((-2, -1, 1, 2))))
    for c in range(1, carbs + 1):
        if per_carb > 1 and rng.random() < r.plate_out_of_step:
            out.append(Fault("plate out of step", c, None, _either(rng, *r.plate_deg)))
        if per_carb > 1 and rng.random() < r.twisted_spindle:
            out.append(Fault("twisted spindle", c, None, rng.uniform(*r.twisted_deg)))
        if rng.random() < r.level_off:
            out.append(Fault(rng.choice(("low fuel level", "high fuel level")), c, None, rng.uniform(*r.level_mm)))
    for c, b in places:
        if rng.random() < r.manifold_leak:
            out.append(Fault("manifold leak", c, b, rng.uniform(*r.manifold_mm2)))
        if rng.random() < r.spindle_leak:
            out.append(Fault("spindle leak", c, b, rng.uniform(*r.spindle_mm2)))
        if any(rng.random() < r.weak_cylinder for _ in range(bank.cylinders_per_barrel)):
            out.append(Fault("weak cylinder", c, b, rng.uniform(*r.weak_torque)))
    if rng.random() < r.disturbed and bank.manifold == "separate" and job.instruments.airflow_gauge:
        c, b = rng.choice(places)
        out.append(Fault("disturbed gauge point", c, b, _either(rng, *r.disturbed_share)))
    return out


def dead_screws(rng: random.Random, job: Job) -> list[Fault]:
    """Mixture screws of the varied fleet that turn and change nothing."""
    kind, per_carb = KINDS["dead mixture screw"], 1 if "progressive" in job.bank.family else job.bank.barrels_per_carb
    places = [(c + 1, b + 1) for c in range(job.bank.carbs) for b in range(per_carb)]
    return [
        Fault("dead mixture screw", c, b, rng.uniform(kind.low, kind.high))
        for c, b in places
        if rng.random() < RATES.dead_screw
    ]


def _with_fitted(job: Job, faults: Sequence[Fault], seed: int) -> Job:
    """The job with the jets that the owner knows to be fitted, and with the take-off that all can see."""
    row: tuple[float | Fraction, ...] | None = job.bank.idle_jet
    if row is None:
        size = anatomy.draw(job, seed).right_jet + 5.0 * sum(f.size for f in faults if f.kind == "wrong jets")
        row = (size,)
    spoilt = [{"carb": f.carb, "barrel": f.barrel} for f in faults if f.kind == "disturbed gauge point"]
    bank = job.bank.model_dump(mode="json") | {"idle_jet": [float(x) for x in row]}
    if spoilt:
        bank["disturbed"] = [*bank["disturbed"], *spoilt]
    return Job.model_validate(job.model_dump(mode="json") | {"bank": bank})


#: Counts of bodies, and of barrels a body, that a procedure is for: from and to.
Counts = tuple[tuple[int, int], tuple[int, int]]
#: The most cylinders that an engine of a job has.
_MOST_CYLINDERS = 16


def random_job(seed: int, family: str = SIDEDRAUGHT, counts: Counts | None = None, **instruments: Any) -> Job:
    """An invented engine of a family: `twin-choke sidedraught` (4 or 6 cylinders, 1.6 to 2.8 litres), or one whose name
    says constant depression, motorcycle, progressive, or else a single carburettor on a shared manifold. With `counts`
    its bank is one that they allow: of a family that no code knows, a barrel for each cylinder."""
    job = _job(seed, family, instruments)
    bank = job.bank
    if counts is None or all(
        low <= n <= high for n, (low, high) in zip((bank.carbs, bank.barrels_per_carb), counts, strict=True)
    ):
        return job
    return _counted(job, random.Random(f"bank {seed}"), counts)


def _counted(job: Job, rng: random.Random, counts: Counts) -> Job:
    """The same engine with a bank that the counts allow, as far as an engine has cylinders for it."""
    (least, most), (narrow, wide) = counts
    pairs = [(c, b) for c in range(least, most + 1) for b in range(narrow, wide + 1) if c * b <= _MOST_CYLINDERS]
    carbs, barrels = rng.choice(pairs or [(least, narrow)])
    alone = carbs * barrels == 1
    cylinders = 4 if alone else min(carbs * barrels, _MOST_CYLINDERS)
    said = job.model_dump(mode="json")
    bank = said["bank"] | {
        "carbs": carbs,
        "barrels_per_carb": barrels,
        "cylinders_per_barrel": 1,
        "manifold": "shared" if alone else "separate",
    }
    engine = said["engine"] | {"cylinders": cylinders, "displacement": f"{cylinders * rng.choice((300, 400, 500))} cc"}
    return Job.model_validate(said | {"bank": bank, "engine": engine})


def _job(seed: int, family: str, instruments: dict[str, Any]) -> Job:
    rng = random.Random(f"job {seed}")
    if family != SIDEDRAUGHT:
        return _other_job(rng, seed, family, instruments)
    cylinders = rng.choice((4, 6))
    litres = rng.choice((1.6, 1.75, 1.9, 2.0, 2.1) if cylinders == 4 else (2.0, 2.2, 2.4, 2.5, 2.6, 2.8))
    tools: dict[str, Any] = {
        "airflow_gauge": True,
        "tachometer": True,
        "exhaust_sampling": "each cylinder",
    } | instruments
    return Job.model_validate(
        {
            "title": f"Invented engine {seed}",
            "engine": {
                "cylinders": cylinders,
                "displacement": f"{litres * 1000:.0f} cc",
                "peak_power_speed": "6000 rpm",
                "idle_speed": f"{rng.choice((850, 900, 950, 1000))} rpm",
            },
            "bank": {
                "family": family,
                "carbs": cylinders // 2,
                "barrels_per_carb": 2,
                "mixture_screw": rng.choice(("short taper", "short taper", "long taper")),
                "air_bypass_screws": rng.random() < 0.4,
                "linkage_balance_screws": rng.random() < 0.5,
            },
            "instruments": tools,
            "conditions": {
                "altitude": f"{rng.choice((0, 50, 120, 300, 500))} m",
                "temperature": f"{rng.randint(8, 28)} degC",
            },
        }
    )


def _other_job(rng: random.Random, seed: int, family: str, instruments: dict[str, Any]) -> Job:
    """An invented engine of the other families."""
    if "constant depression" in family:
        carbs = rng.choice((2, 2, 3))
        cylinders, idle = 2 * carbs, rng.choice((750, 800, 850))
        cc = 500 * carbs + rng.choice((200, 300, 400, 500, 600))
        bank = {"carbs": carbs, "cylinders_per_barrel": 2, "mixture_screw": "jet nut"}
    elif "motorcycle" in family:
        carbs = rng.choice((2, 3, 4, 4))
        cylinders, cc, idle = carbs, carbs * rng.choice((125, 150, 185, 250)), rng.choice((1050, 1100, 1150))
        bank = {
            "carbs": carbs,
            "linkage_balance_screws": True,
            "throttle_bore": "30 mm",
            "mixture_screw": rng.choice(("long taper", "air screw")),
        }
    else:
        cylinders, cc, idle = 4, rng.choice((1300, 1600, 1800, 2000)), rng.choice((800, 850, 900))
        bank = {
            "carbs": 1,
            "barrels_per_carb": 2 if "progressive" in family else 1,
            "manifold": "shared",
            "throttle_bore": "32 mm",
            "mixture_screw": "long taper",
        }
    bike = "motorcycle" in family
    tools = {"airflow_gauge": not bike, "vacuum_gauges": bike, "tachometer": True, "exhaust_sampling": "each cylinder"}
    return Job.model_validate(
        {
            "title": f"Invented engine {seed}",
            "bank": {"family": family} | bank,
            "instruments": tools | instruments,
            "engine": {"cylinders": cylinders, "displacement": f"{cc} cc", "idle_speed": f"{idle} rpm"},
            "conditions": {"temperature": f"{rng.randint(8, 28)} degC"},
        }
    )


def random_engine(seed: int, job: Job | None = None, fleet: str = "plain", **instruments: bool) -> Specimen:
    """Engine number `seed` of a `fleet` (of `job`, if given): its job and hidden faults by the fixed rates.

    `instruments` are yes/no fields of the job (`lambda_meter=True`). In the varied fleet a job that does not say what
    steps its tachometer shows gets one.
    """
    job = job or random_job(seed, SIDEDRAUGHT, None, **instruments)
    rng = random.Random(f"faults {seed}")
    faults = draw_faults(rng, job)
    if fleet == "varied":
        faults += dead_screws(random.Random(f"dead {seed}"), job)
        if job.at("instruments.tachometer_step") is None:
            tools = job.instruments.model_dump(mode="json") | {"tachometer_step": nature.tachometer(seed)}
            job = Job.model_validate(job.model_dump(mode="json") | {"instruments": tools})
    return Specimen(_with_fitted(job, faults, seed), tuple(faults), seed, fleet)


def faulted(job: Job, names: Sequence[str], seed: int = 0) -> Specimen:
    """An engine of `job` with exactly the faults named (a closed list, `faults.KINDS`), at drawn places and sizes.

    Raises `NoSuchFault` with the nearest names for one that nobody knows.
    """
    rng = random.Random(f"named faults {seed}")
    faults = []
    for name in names:
        kind = KINDS[kind_named(name)]
        size = round(rng.uniform(kind.low, kind.high)) if kind.unit == "sizes" else rng.uniform(kind.low, kind.high)
        size = size * rng.choice((-1, 1)) if kind.either_way else size
        carb = None if kind.at == "engine" else rng.randint(1, job.bank.carbs)
        barrel = rng.randint(1, job.bank.barrels_per_carb) if kind.at in ("barrel", "cylinder") else None
        faults.append(Fault(kind_named(name), carb, barrel, size))
    return Specimen(_with_fitted(job, faults, seed), tuple(faults), seed)
