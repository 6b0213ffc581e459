"""A trial as a plain table; it computes nothing."""

from __future__ import annotations

from collections.abc import Iterable

from engine.bench.trial.statistics import SAID, STATES, WORK, Criterion, Share, Summary

_WORDS = {
    "rounds": "measuring rounds",
    "moves": "moves",
    "stops": "engine stops",
    "stalls": "stalls",
    "in_tolerance": "in tolerance",
    "near_best": "every cylinder near its best",
    "belongs": "every cylinder where it belongs",
    "lean_best": "near best torque, lean side",
    "out": "taken out",
    "told": "told with a standing finding",
    "hinted": "only hinted",
    "nothing": "nothing said",
}
_LEFT, _COLUMN = 32, 13


def table(found: Summary) -> str:
    """The trial as a plain table."""
    meter = f"{found.meter} of each cylinder" if found.meter else "no meter in the exhaust"
    fleet = f", {found.fleet} fleet" if found.fleet else ""
    lines = [
        f"{found.procedure}: {found.engines} virtual engines ({found.family}{fleet}); {meter}",
        f"{found.mendable} mendable by screws and jets",
        f"ends: {', '.join(f'{n} {k}' for k, n in sorted(found.outcomes.items()))}",
        "",
        _line("median / 90th percentile", found.workers),
    ]
    for kind in WORK:
        work = [w.work[kind] for w in found.workers.values()]
        lines.append(_line(_WORDS[kind], [f"{s.median:.0f} /{s.p90:>4.0f}" for s in work]))
    lines += ["", _line("of mendable engines", found.workers)]
    for key in STATES:
        lines.append(_line(_WORDS[key], [_percent(getattr(w, key)) for w in found.workers.values()]))
    lines += ["", _line("idle jets, truth below, said:", SAID)]
    lines += [_line("  " + true, map(str, row.values())) for true, row in found.jets.items()]
    lines += ["", "wrong idle jets"]
    lines += [f"  {_WORDS[k]:{_LEFT}}{n}" for k, n in found.fates.items()]
    lines += [f"  {'engines left with one':{_LEFT}}{found.wrong_left}"]
    lines += ["", "other faults named, or found and mended"]
    lines += [f"  {kind:{_LEFT}}{share}" for kind, share in found.faults_named.items()]
    lines += ["", f"{'':54}{'reached':>10}{'of':>7}{'wanted':>17}"]
    lines += [_criterion(c) for c in found.criteria]
    if found.problems:
        lines += ["", f"runs that did not end by themselves: {len(found.problems)}"]
        lines += [f"  {p}" for p in found.problems[:10]]
    return "\n".join(lines)


def _line(words: str, cells: Iterable[str]) -> str:
    return f"{words:{_LEFT}}" + "".join(f"{cell:>{_COLUMN}}" for cell in cells)


def _criterion(c: Criterion) -> str:
    reached = "not known" if c.reached is None else _figure(c.reached, c.unit)
    sign = "at most" if c.at_most else "at least"
    verdict = {True: "met", False: "MISSED", None: ""}[c.met]
    of = "" if c.of is None else str(c.of)
    return f"{c.name:54}{reached:>10}{of:>7}{sign + ' ' + _figure(c.wanted, c.unit):>17}  {verdict}".rstrip()


def _figure(value: float, unit: str) -> str:
    if unit == "count":
        return f"{value:.0f}"
    return f"{100 * value:.1f} %" if unit == "%" else f"{100 * value:.1f} pt"


def _percent(share: Share) -> str:
    return "none" if share.value is None else f"{100 * share.value:.1f} %"
