"""The contract of the advisers beside the idle routine (sizing, main circuit, exhaust gas); it computes nothing."""

from __future__ import annotations

from engine.carburation.advisers.contract_words import computed, gives, number, reading, says
from engine.contract import Adviser, Input

_SIZED = ("in range", "small", "large", "barrels differ", "unknown")


def _end(name: str, where: str, optional: bool = False) -> dict[str, Input]:
    return {
        name: reading(f"lambda {where}", "lambda", optional=optional),
        f"{name}_speed": number(f"the speed at which `{name}` was read", "rpm", "500", "15000", optional=optional),
    }


SIZING = Adviser(
    "sizing",
    1,
    "Holds choke, main jet, air corrector, idle jet and pump jet against what the trade's rules would start from, by "
    "the job alone. Notes only. Ask once.",
    {},
    {
        "verdict": says(
            "in range · off: something is unusual (notes) · nothing to compare: the job names no parts, or "
            "no rule covers them",
            "in range",
            "off",
            "nothing to compare",
        ),
        **{
            part: says(f"the {part.replace('_', ' ')}", *_SIZED)
            for part in ("choke", "main_jet", "air_corrector", "idle_jet", "pump_jet")
        },
    },
    frozenset(),
    computed("circuits", "sizing_review"),
    {f"{part}-unusual": "note" for part in ("choke", "main-jet", "air-corrector", "idle-jet", "pump-jet")},
)

MAIN_CIRCUIT = Adviser(
    "main_circuit",
    1,
    "Judges one full-throttle pull by lambda at two or three speeds: one part to change at a time, richer in doubt. "
    "Allow 6 pulls.",
    {
        **_end("low", "where the pull begins"),
        **_end("middle", "half-way", optional=True),
        **_end("high", "where the pull ends"),
        "target": number("lambda wanted at full load (left out: 0.87)", "", "0.75", "1", optional=True),
    },
    {
        "verdict": says(
            "right · main jet, air corrector: change it on every barrel (parts given) · elsewhere: only "
            "the low end is off, neither of the two · withheld: no pull to judge by (finding)",
            "right",
            "main jet",
            "air corrector",
            "elsewhere",
            "withheld",
        ),
        "lean": says("whether lambda was above 0.92 under load: stop pulling", "yes", "no"),
        "size": gives("the size to fit, 0 for none", "", "0", "1000"),
        "sureness": says("how sure", "sure", "likely", "trend only", "none"),
    },
    frozenset({"parts"}),
    computed("circuits", "main_circuit"),
    {
        "lean-under-load": "stop",
        "main-jet-off": "change part",
        "air-corrector-off": "change part",
        "onset-of-main-off": "adjust",
        "pull-not-believed": "note",
    },
)

EXHAUST_GAS = Adviser(
    "exhaust_gas",
    1,
    "Lambda from one sample of four gases, and whether it may be believed. Ask once a sample.",
    {
        "co": reading("CO, dry", "CO"),
        "co2": reading("CO2, dry", "CO2"),
        "o2": reading("O2, dry", "O2"),
        "hc": reading("HC as hexane", "HC", optional=True),
        "lambda_low": number("richest good mixture (left out: 0.86)", "", "0.6", "1.2", optional=True),
        "lambda_high": number("leanest good mixture (left out: 0.96)", "", "0.6", "1.2", optional=True),
    },
    {
        "verdict": says(
            "believed · misfire: oxygen or fuel went through unburnt (finding) · diluted: air in the "
            "sample (finding) · unsound readings",
            "believed",
            "misfire",
            "diluted",
            "unsound readings",
        ),
        "lambda": gives("lambda by the gases, 0 where the readings are unsound", "", "0", "2"),
        "mixture": says("where the mixture stands", "rich", "right", "lean", "unknown"),
    },
    frozenset(),
    computed("circuits", "exhaust_gas"),
    {"misfire-in-exhaust": "adjust", "sample-thin": "note", "gases-not-believed": "note"},
)

CIRCUITS: dict[str, Adviser] = {a.name: a for a in (SIZING, MAIN_CIRCUIT, EXHAUST_GAS)}
