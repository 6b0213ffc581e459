"""What a shop reads with: the step that each face shows and the scatter of a careful reading, as far as is known."""

from __future__ import annotations

from fractions import Fraction

from engine.vocabulary.entries import Instrument

INSTRUMENTS: tuple[Instrument, ...] = (
    Instrument(
        "airflow gauge",
        "airflow_gauge",
        "airflow",
        "kg/h",
        Fraction(1, 4),
        Fraction(1, 8),
        "common practice: many faces allow no better than 0.25 to 0.5; scatter assumed, half of that",
    ),
    Instrument("vacuum gauges", "vacuum_gauges", "depression", "kPa", Fraction(1, 2), None, "assumed: a fine face"),
    Instrument(
        "tachometer",
        "tachometer",
        "engine speed",
        "rpm",
        Fraction(10),
        Fraction(15),
        "common practice: 10 on a display, 50 on a dial; scatter of an idle assumed",
    ),
    Instrument("lambda meter", "lambda_meter", "lambda", "", Fraction(1, 100), Fraction(1, 100), "common practice"),
    Instrument(
        "CO meter",
        "co_meter",
        "CO",
        "%",
        Fraction(1, 10),
        Fraction(1, 10),
        "common practice: a tenth of a per cent is shown",
    ),
    Instrument("compression gauge", "compression_gauge", "compression", "bar", Fraction(1, 10), None, "assumed"),
    Instrument("fuel pressure gauge", "fuel_pressure_gauge", "fuel pressure", "bar", Fraction(1, 100), None, "assumed"),
    Instrument("timing light", "timing_light", "ignition timing", "deg", Fraction(1), None, "common practice"),
)
