"""The sizing report as plain text for a terminal or a printer; it works nothing out."""

from __future__ import annotations

import textwrap

from engine.carburation.rules.sizing_report import Fitted, Part, SizingReport
from engine.quantity.wording import listed
from engine.wording import Words


def _off(part: Part, one: Fitted) -> str:
    """How far off one fitted size is, in words."""
    if one.steps is None or one.area is None:
        return "no figure to compare" if one.verdict == "withheld" else f"{one.verdict}, by what is usual"
    word = "mm" if part.unit == "mm" else "size" if abs(one.steps) == 1 else "sizes"
    by = f"{abs(one.steps):g} {word} {'over' if one.steps > 0 else 'under'} the start" if one.steps else "as the start"
    area = f", area {one.area:+.0%}" if one.steps and part.unit != "mm" else ""
    return f"{one.verdict}: {by}{area}"


def _accepted(part: Part) -> str:
    if part.low is None or part.high is None:
        return "-"
    low, high = f"{part.low:.0f}", f"{part.high:.0f}"
    return low if low == high else f"{low} to {high}"


def lines(report: SizingReport, width: int = 80) -> list[str]:
    """The report as lines of plain text, none longer than `width` (at least 72)."""
    width = max(72, width)

    def wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
        return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest) or [""]

    out = ["Sizing: what this engine would start from, and what is fitted"]
    out += wrapped(report.engine) + wrapped(f"Air: {report.air}") + wrapped(f"Fuel: {report.fuel}")
    out += wrapped(
        f"Main circuit in this air on this fuel: lambda x {report.lambda_factor:.3f} with the jet unchanged, of "
        f"which x {report.temperature_factor:.3f} is the temperature of the day; bore x {report.main_jet_factor:.4f} "
        f"corrects it for altitude and fuel"
    )
    out += ["", f"{'Part':<14}{'Start':<8}{'Accepted':<12}{'Fitted':<8}How far off"]
    for part in report.parts:
        unit = f" {part.unit}" if part.unit else ""
        start = "-" if part.start is None else f"{part.start:g}{unit}"
        left = f"{part.part:<14}{start:<8}{_accepted(part):<12}"
        if not part.fitted:
            out += [left + f"{'-':<8}" + ("withheld" if part.start is None else "not in the job")]
        for one in part.fitted:
            where = f" ({listed(Words({}).place(p) for p in one.places)})" if one.places else ""
            out += wrapped(_off(part, one) + where, f"{left}{f'{one.size:g}{unit}':<8}", " " * 42)
            left = " " * 34
    for part in report.parts:
        out.append("")
        head = f"{part.part}: "
        if part.withheld:
            out += wrapped(f"withheld. {part.withheld}", head, "  ")
        else:
            out += wrapped(part.formula, head, "  ") + wrapped(f"Source: {part.source}.", "  ", "  ")
        for note in part.notes:
            out += wrapped(note, "  ", "  ")
    out.append("")
    if report.gauge:
        low, high = report.gauge
        out += wrapped(
            f"Airflow gauge at idle: {low:.1f} to {high:.1f} kg/h a barrel is plausible [derived]. Equal "
            f"readings matter, not the figure."
        )
    out += wrapped(f"Emission limits at idle: {report.emission}")
    for note in report.notes:
        out += wrapped(note)
    return out
