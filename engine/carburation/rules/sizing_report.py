"""The sizing report of a job: what each part would start from, what is fitted, how far off; it changes nothing.

What the job doesn't say, or no rule covers, is withheld in words; no figure is made up in its place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from engine.carburation.rules import air, fuel, limits, sizing
from engine.carburation.rules.refusal import Refused
from engine.evidence import Place
from engine.job.model import Job
from engine.vocabulary.sources import cited

Verdict = Literal["in range", "small", "large", "barrels differ", "not given", "withheld"]


@dataclass(frozen=True, slots=True)
class Fitted:
    """One fitted size, and the `places` where it is (none: everywhere); against the start: `steps` of the series above
    it, `area` a share more."""

    places: tuple[Place, ...]
    size: float
    steps: float | None
    area: float | None
    verdict: Literal["in range", "small", "large", "withheld"]


@dataclass(frozen=True, slots=True)
class Part:
    """One part: the rule's figures, each distinct fitted size, a verdict; `withheld` says why there is no figure."""

    part: str
    unit: str
    step: float
    start: float | None
    exact: float | None
    low: float | None
    high: float | None
    fitted: tuple[Fitted, ...]
    verdict: Verdict
    formula: str
    source: str
    withheld: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SizingReport:
    """The report. `density_ratio` is to sea level at 15 degC; `lambda_factor` holds with the jets unchanged,
    `main_jet_factor` on the bore corrects it for altitude and fuel, and `temperature_factor` is what the day's
    temperature does to lambda, for which no jet is changed; all on the main circuit only. `gauge` is kg/h a barrel;
    `emission` the limits that hold at idle, in words.
    """

    engine: str
    air: str
    fuel: str
    density_ratio: float
    stoichiometric_afr: float
    lambda_factor: float
    main_jet_factor: float
    temperature_factor: float
    parts: tuple[Part, ...]
    gauge: tuple[float, float] | None
    emission: str
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The report as JSON values, under `kind: sizing`."""
        return {"kind": "sizing", **asdict(self)}


def run(job: Job, limits_file: Path = limits.SHIPPED) -> SizingReport:
    """Work out the sizing report of a job; a shop may give its own table of emission limits.

    It never refuses: what can't be worked out is withheld in words. Each source that it names has author and year.
    """
    found = work_out(job)
    parts = tuple(_cited(part) for part in found.parts)
    return replace(found, parts=parts, emission=cited(_emission(job, limits_file)))


def _cited(part: Part) -> Part:
    return replace(
        part, source=cited(part.source), withheld=cited(part.withheld), notes=tuple(cited(n) for n in part.notes)
    )


def work_out(job: Job) -> SizingReport:
    """The report by the job alone, no file read: all of `run` but the emission limits."""
    conditions, blend = job.conditions, fuel.blend(float(job.fuel.ethanol) / 100)
    altitude, celsius = float(conditions.altitude), float(conditions.temperature)
    day, sea, standard = air.at(altitude, celsius + 273.15), air.isa(0), air.isa(altitude)
    ratio = day.density / sea.density
    lambda_air, _ = sizing.density_factors(ratio)
    # Jets are changed for where a car lives, not for the weather of a day.
    factor = sizing.density_factors(standard.density / sea.density)[1] * blend.bore
    weather, _ = sizing.density_factors(day.density / standard.density)
    choke = _choke(job)
    main = _main(job, choke, factor)
    engine, bank = job.engine, job.bank
    peak = f"peak power at {float(engine.peak_power_speed):g} rpm, " if engine.peak_power_speed else ""
    volume = _volume(job)
    separate = bank.manifold == "separate"
    gauge = None
    if separate and job.instruments.airflow_gauge and job.instruments.airflow_scale == "kg/h":
        gauge = sizing.gauge_band(float(engine.displacement), float(engine.idle_speed), bank.barrels)
    return SizingReport(
        engine=f"{engine.cylinders} cylinders, {float(engine.displacement):g} cc ({volume:.4g} cc each), {peak}"
        f"{engine.use} use",
        air=f"{altitude:g} m, {celsius:g} degC: density {ratio:.3f} of sea level at 15 degC",
        fuel=f"{float(job.fuel.ethanol):g} % ethanol, stoichiometric at {blend.afr:.2f}",
        density_ratio=ratio,
        stoichiometric_afr=blend.afr,
        lambda_factor=lambda_air * blend.lambda_factor,
        main_jet_factor=factor,
        temperature_factor=weather,
        parts=(choke, main, _corrector(job, choke), _idle(job), _pump(job)),
        gauge=gauge,
        emission="",
        notes=_NOTES,
    )


_NOTES = (
    "Rules give a first setting to drive from. The maker's sheet for this engine comes before them, and a lambda "
    "reading under load before both.",
    "Altitude and fuel correct the main circuit only, and the temperature of a day corrects nothing. Idle jets are "
    "judged by their screws.",
    "Jets are numbered by bore in hundredths of a millimetre. Some are rated by flow instead: never mix the two.",
)


def _emission(job: Job, limits_file: Path) -> str:
    try:
        found = limits.judge(limits.load(limits_file), job.vehicle.first_used, jurisdiction=job.vehicle.jurisdiction)
    except Refused as refusal:
        return str(refusal)
    return found.say + (f" Source: {found.source}." if found.co_limit is not None and found.source else "")


def _volume(job: Job) -> float:
    return float(job.engine.displacement / job.engine.cylinders)


def _is_slide(job: Job) -> bool:
    """A slide or diaphragm body without a choke of its own, as motorcycle banks have: known by its pilot screw."""
    return job.bank.mixture_screw == "air screw" or job.at("bank.pilot_screw") is not None


def _no_rule(job: Job, part: str) -> str:
    """Why the trade's rules for fixed chokes with a barrel a cylinder don't hold for this bank, or nothing."""
    bank = job.bank
    if bank.mixture_screw == "jet nut":
        return f"A constant-depression body has no {part}; its maker's needle and spring table governs."
    if bank.manifold == "shared":
        return "All barrels feed one plenum, and the rules are for a barrel a cylinder; the maker's table governs."
    if _is_slide(job) and part != "choke":
        return "Slide bodies are jetted by their maker's table, and some of their jets are rated by flow."
    if bank.cylinders_per_barrel > 1 and part in ("choke", "pump jet"):
        return "Cylinders share a barrel here, and the rule is for a barrel a cylinder; the maker's table governs."
    return ""


def _build(
    part: str,
    unit: str,
    step: float,
    rule: Callable[[], sizing.Rule | sizing.Usual] | str,
    row: tuple[Fraction, ...] | None,
    key: str,
    job: Job,
    notes: tuple[str, ...] = (),
) -> Part:
    """Put rule and fitted row together; a `rule` that is a text, or that refuses, withholds the figures."""
    figures: sizing.Rule | sizing.Usual | None = None
    reason = rule if isinstance(rule, str) else ""
    if not isinstance(rule, str):
        try:
            figures = rule()
        except Refused as refusal:
            reason = str(refusal)
    sizes = tuple(float(v) for v in row or ())
    fitted = tuple(_fitted(size, _where(sizes, size, job), figures, step) for size in dict.fromkeys(sizes))
    remarks = list(notes)
    if not sizes and not reason:
        remarks.append(f"What is fitted is not in the job ({key}).")
    if len(fitted) > 1:
        remarks.append("The barrels differ. Read every one again before anything is ordered.")
    for one in fitted:
        try:
            if unit != "mm":
                sizing.in_series(one.size, step, part)
        except Refused as refusal:
            remarks.append(str(refusal))
    if figures is None:
        verdict: Verdict = "withheld"
    elif not fitted:
        verdict = "not given"
    else:
        verdict = fitted[0].verdict if len(fitted) == 1 else "barrels differ"
    return Part(
        part,
        unit,
        step,
        figures.start if isinstance(figures, sizing.Rule) else None,
        figures.exact if isinstance(figures, sizing.Rule) else None,
        figures.low if figures else None,
        figures.high if figures else None,
        fitted,
        verdict,
        figures.words if figures else "",
        figures.source if figures else "",
        reason,
        tuple(remarks),
    )


def _fitted(size: float, where: tuple[Place, ...], rule: sizing.Rule | sizing.Usual | None, step: float) -> Fitted:
    if rule is None:
        return Fitted(where, size, None, None, "withheld")
    verdict: Literal["in range", "small", "large"] = "in range"
    if size < rule.low - 1e-9:
        verdict = "small"
    elif size > rule.high + 1e-9:
        verdict = "large"
    if isinstance(rule, sizing.Usual):
        return Fitted(where, size, None, None, verdict)
    return Fitted(where, size, (size - rule.start) / step, sizing.area_change(rule.start, size), verdict)


def _where(sizes: tuple[float, ...], size: float, job: Job) -> tuple[Place, ...]:
    if len(set(sizes)) <= 1:
        return ()
    per = job.bank.barrels_per_carb
    at = (divmod(i, per) for i, v in enumerate(sizes) if v == size)
    return tuple(Place(c + 1, b + 1 if per > 1 else None) for c, b in at)


def _choke(job: Job) -> Part:
    engine, bank, volume = job.engine, job.bank, _volume(job)
    reason = _no_rule(job, "choke")
    notes: list[str] = []
    fitted = bank.choke
    peak = float(engine.peak_power_speed or 0)
    if not reason and engine.peak_power_speed is None:
        reason = "The job gives no speed of peak power (engine.peak_power_speed)."
    elif not reason and _is_slide(job):
        low, high = (sizing.choke_bore(volume, peak, k) for k in sizing.SLIDE_CONSTANTS)
        bore = f", {float(bank.throttle_bore):g} mm fitted" if bank.throttle_bore else ""
        reason = (
            f"A slide body has no choke of its own. Its bore by the same rule, 0.65 to 0.90 x sqrt(V n): "
            f"{low:.1f} to {high:.1f} mm{bore} [from memory: a maker's guide]."
        )
    elif not reason and fitted:
        cycle, stroke = sizing.air_speed(float(fitted), volume, peak)
        notes.append(
            f"Air at peak power through {float(fitted):g} mm: {stroke:.0f} m/s over the induction stroke, "
            f"{cycle:.1f} over the cycle; the rule means 106 and 26.5 [derived]."
        )
    if fitted and bank.throttle_bore:
        share, (low, high) = float(fitted / bank.throttle_bore), sizing.CHOKE_TO_BORE
        word = "as usual" if low <= share <= high else "unusual: read both again"
        notes.append(f"Choke over throttle bore is {share:.2f}, {word} ({low:.2f} to {high:.2f}) [from memory].")
    rule = reason or (lambda: sizing.choke(volume, peak, engine.use))
    return _build("choke", "mm", 1.0, rule, (fitted,) if fitted else None, "bank.choke", job, tuple(notes))


def _governing_choke(job: Job, choke: Part) -> float | None:
    """The fitted choke governs the jets; else the one that the rule would start from."""
    return float(job.bank.choke) if job.bank.choke else choke.start


_NO_CHOKE = "It follows from the choke, and the job gives neither the one fitted (bank.choke) nor what to size one by."


def _main(job: Job, choke: Part, factor: float) -> Part:
    bore = _governing_choke(job, choke)
    reason = _no_rule(job, "main jet") or ("" if bore else _NO_CHOKE)
    rule = reason or (lambda: sizing.main_jet(bore or 0, factor))
    notes: tuple[str, ...] = ()
    if factor < 0.985:
        notes = (
            "A jet made smaller for thin air is lean lower down: change it back before the "
            "car goes there [published: source S56].",
        )
    return _build("main jet", "", sizing.JET_STEP, rule, job.row("main_jet"), "bank.main_jet", job, notes)


def _corrector(job: Job, choke: Part) -> Part:
    """Judged from the main jet that is fitted, where all are alike; else from the one that the choke asks for."""
    bore, mains = _governing_choke(job, choke), set(job.row("main_jet") or ())
    main = float(mains.pop()) if len(mains) == 1 else None
    reason = _no_rule(job, "air corrector") or ("" if bore or main else _NO_CHOKE)
    rule = reason or (lambda: sizing.air_corrector(main or sizing.main_jet(bore or 0).start))
    notes = ("The main jets differ: judged from the one that the choke asks for.",) if mains and main is None else ()
    return _build(
        "air corrector", "", sizing.JET_STEP, rule, job.row("air_corrector"), "bank.air_corrector", job, notes
    )


def _idle(job: Job) -> Part:
    rule = _no_rule(job, "idle jet") or (lambda: sizing.idle_jet(_volume(job), job.bank.cylinders_per_barrel))
    notes = ("An idle jet is two numbers, fuel bore and air bleed; the job gives the first [common practice].",)
    return _build(
        "idle jet",
        "",
        sizing.JET_STEP,
        rule,
        job.row("idle_jet"),
        "bank.idle_jet",
        job,
        notes if job.bank.idle_jet else (),
    )


def _pump(job: Job) -> Part:
    rule = _no_rule(job, "pump jet") or (lambda: sizing.pump_jet(_volume(job)))
    return _build("pump jet", "", sizing.JET_STEP, rule, job.row("pump_jet"), "bank.pump_jet", job)
