"""Emission limits: reads the table of a jurisdiction and holds one reading against it; it knows no law of its own.

The table is data (`limits.yaml`), so that a shop can put its own in its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

from engine.carburation.rules.refusal import Refused, within
from engine.quantity.units import NotAQuantity, convert, parse_quantity

SHIPPED = Path(__file__).with_name("limits.yaml")


@dataclass(frozen=True, slots=True)
class Period:
    """Limits for vehicles first used from the day `since` to the day before `before`; None is no end, or no limit.

    `co` percent, `hc` ppm.
    """

    since: date | None
    before: date | None
    co: float | None
    hc: float | None
    note: str

    def covers(self, day: date) -> bool:
        """Whether a vehicle first used on `day` falls into this period."""
        return (self.since is None or self.since <= day) and (self.before is None or day < self.before)


@dataclass(frozen=True, slots=True)
class Jurisdiction:
    """One jurisdiction's periods, how its test is taken, and where the numbers come from."""

    name: str
    title: str
    how: str
    source: str
    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of limits by jurisdiction; `in_force` is the one where a job names none, empty for none."""

    in_force: str
    jurisdictions: dict[str, Jurisdiction]


@dataclass(frozen=True, slots=True)
class Judgement:
    """One reading held against the limits; `co_limit` percent and `hc_limit` ppm are None where none is known."""

    result: Literal["pass", "fail", "no limit", "not set", "not read"]
    co_limit: float | None
    hc_limit: float | None
    say: str
    source: str


def load(path: Path = SHIPPED) -> Table:
    """Read a table of limits. Refuses, naming file and entry, what is missing, unreadable or out of shape."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    try:
        data = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise Refused(f"The emission limits {path} can't be read: {fault.strerror or fault}.") from None
    except (YAMLError, UnicodeDecodeError, ValueError) as fault:
        where = getattr(fault, "problem_mark", None)
        line = f" at line {where.line + 1}" if where else ""
        raise Refused(f"The emission limits {path} are no YAML{line}. Mend it, or take the shipped one.") from None
    entries = data.get("jurisdictions") if isinstance(data, dict) else None
    if not isinstance(entries, dict):
        raise Refused(f"The emission limits {path} need a key `jurisdictions` with one entry a jurisdiction.")
    table = {str(name): _jurisdiction(str(name), entry, path) for name, entry in entries.items()}
    in_force = str(data.get("in_force") or "none")
    if in_force != "none" and in_force not in table:
        raise Refused(f"{path}: `in_force` names '{in_force}', which has no entry; write none or {_names(table)}.")
    return Table("" if in_force == "none" else in_force, table)


def _names(table: dict[str, Jurisdiction]) -> str:
    return ", ".join(sorted(table)) or "nothing"


def _jurisdiction(name: str, entry: Any, path: Path) -> Jurisdiction:
    periods = entry.get("periods") if isinstance(entry, dict) else None
    if not isinstance(periods, list) or not periods:
        raise Refused(f"{path}: {name} needs a list of `periods`.")
    read = tuple(_period(f"{path}: {name}, period {n}", one) for n, one in enumerate(periods, 1))
    for n, one in enumerate(read):
        for other in read[n + 1 :]:
            if (other.since or date.min) < (one.before or date.max) and (one.since or date.min) < (
                other.before or date.max
            ):
                raise Refused(f"{path}: two periods of {name} cover the same days; every day may have one limit.")
    title, how, source = (str(entry.get(key) or "") for key in ("title", "how", "source"))
    return Jurisdiction(name, title, how, source, read)


def _period(where: str, entry: Any) -> Period:
    if not isinstance(entry, dict):
        raise Refused(f"{where} is not written as `{{from, before, co, hc}}`.")
    unknown = [str(key) for key in entry if key not in ("from", "before", "co", "hc", "note")]
    if unknown:
        raise Refused(f"{where} has an unknown key '{unknown[0]}'; it takes from, before, co, hc and note.")
    since, before = (_day(where, key, entry.get(key)) for key in ("from", "before"))
    if since and before and since >= before:
        raise Refused(f"{where} ends before it begins.")
    co, hc = _limit(where, "co", entry, "%"), _limit(where, "hc", entry, "ppm")
    return Period(since, before, co, hc, str(entry.get("note") or ""))


def _day(where: str, key: str, value: Any) -> date | None:
    try:
        return None if value is None else parse_day(value)
    except Refused as fault:
        raise Refused(f"{where}, `{key}`: {fault}") from None


def _limit(where: str, key: str, entry: dict[str, Any], unit: str) -> float | None:
    if key not in entry:
        raise Refused(f"{where} does not give `{key}`; write `{key}: none` where there is no limit.")
    value = entry[key]
    if value is None or str(value).strip() == "none":
        return None
    try:
        number, found = parse_quantity(str(value), unit)
        limit = float(convert(number, found.name, unit))
    except (NotAQuantity, ValueError) as fault:
        raise Refused(f"{where}, `{key}`: {fault}") from None
    if limit <= 0:
        raise Refused(f"{where}, `{key}`: a limit of {value} would pass nothing.")
    return limit


def parse_day(value: Any) -> date:
    """A date as a table or a job gives it: a date, or text like 1976-05-01."""
    if isinstance(value, date):
        return date(value.year, value.month, value.day)
    try:
        return date.fromisoformat(str(value).strip())
    except ValueError:
        raise Refused(f"'{str(value)[:20]}' is no date. Write it like 1976-05-01.") from None


def judge(
    table: Table,
    first_used: str | date,
    co: float | None = None,
    hc: float | None = None,
    jurisdiction: str = "",
) -> Judgement:
    """Hold `co` percent and `hc` ppm (None: not read), at idle and hot, against the limits for `first_used`.

    `jurisdiction` comes before the one that the table has in force. Not set where there is neither, the date is
    missing, or no period covers it: that is never a pass. Nothing read gives the limits alone.
    """
    for name, value, most, unit in (("CO", co, 20, "%"), ("HC", hc, 50000, "ppm")):
        if value is not None:
            within(name, value, 0, most, unit)
    name = jurisdiction or table.in_force
    if not name:
        return _unset("No jurisdiction is set, so no limit is known. Set one, or ask whoever tests there.")
    where = table.jurisdictions.get(name)
    if where is None:
        return _unset(f"The table of limits has no jurisdiction '{name}'; it has {_names(table.jurisdictions)}.")
    if not first_used:
        return _unset("The date of first use is not in the job, and the limit goes by it.", where.source)
    if isinstance(first_used, str) and len(first_used.strip()) == 4 and first_used.strip().isdecimal():
        year = first_used.strip()
        within_it = {p for p in where.periods for d in _days_of(int(year)) if p.covers(d)}
        if len(within_it) != 1:
            return _unset(f"In {name} the limit changed within {year}: the day of first use is needed.", where.source)
        first_used = f"{year}-01-01"
    day = parse_day(first_used)
    period = next((p for p in where.periods if p.covers(day)), None)
    if period is None:
        return _unset(f"{name} has no limit in this table for a vehicle first used on {day}.", where.source)
    return _against(period, where, day, co, hc)


def _days_of(year: int) -> tuple[date, ...]:
    """The first day of each month of a year, and its last day."""
    return (*(date(year, month, 1) for month in range(1, 13)), date(year, 12, 31))


def _unset(say: str, source: str = "") -> Judgement:
    return Judgement("not set", None, None, say, source)


def _against(period: Period, where: Jurisdiction, day: date, co: float | None, hc: float | None) -> Judgement:
    words = f"{where.name}, first used {day}"
    if period.co is None and period.hc is None:
        note = f" {period.note}" if period.note else ""
        return Judgement("no limit", None, None, f"{words}: no limit on CO or HC.{note}", where.source)
    parts: list[str] = []
    over: list[str] = []
    for gas, value, limit, unit in (("CO", co, period.co, "%"), ("HC", hc, period.hc, "ppm")):
        if limit is None:
            continue
        if value is None:
            parts.append(f"{gas} at most {limit:g} {unit}")
            continue
        over += [gas] if value > limit else []
        parts.append(f"{gas} {value:g} {unit} {'exceeds' if value > limit else 'is within'} {limit:g} {unit}")
    result: Literal["pass", "fail", "not read"] = "fail" if over else "pass"
    if not over and ((co is None and period.co is not None) or (co is None and hc is None)):
        result = "not read"
    say = f"{words}: {'; '.join(parts)}."
    if over == ["HC"] and where.how:
        say += f" {where.how}"
    return Judgement(result, period.co, period.hc, say, where.source)
