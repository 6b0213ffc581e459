"""The job sheet as one document: which sections in which order, their titles, words and figures; it lays nothing out.

Screen, plain text, HTML, CSV and JSON print this and nothing else, so that none can say what another does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from engine.evidence import Finding, Place
from engine.quantity.wording import decimal, fraction, quantity, unit_word
from engine.sheet.gather import Change, Compared, Sheet, Stand

#: How a run ended, in words, and how good that is.
OUTCOMES: dict[str, tuple[str, Literal["good", "bad", "open"]]] = {
    "ok": ("DONE", "good"),
    "failed": ("NOT DONE", "bad"),
    "stopped": ("STOPPED", "bad"),
    "not finished": ("NOT FINISHED", "open"),
}

#: What a customer is told: to drive, where the work came to its end; of what was set, where something was; where the
#: work was stopped, not to [common practice].
DRIVE = "Drive gently until you know how it answers. Stop and ask if it stalls, spits back or smells of petrol."
SET_WARM = (
    "Idle and mixture were set warm, on this fuel and in this weather. Say so if cold starts or hot restarts change."
)
NOT_TO_DRIVE = "The work was stopped: do not drive it before what stands under FINDINGS is mended."


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its label, under which heading it stands (""), its cells, and whether they differ."""

    label: str
    cells: tuple[str, ...]
    under: str = ""
    changed: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of figures under columns."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    kind: Literal["table"] = "table"


@dataclass(frozen=True, slots=True)
class Fields:
    """Labels with their texts."""

    rows: tuple[tuple[str, str], ...]
    kind: Literal["fields"] = "fields"


@dataclass(frozen=True, slots=True)
class Items:
    """Sentences."""

    items: tuple[str, ...]
    kind: Literal["items"] = "items"


@dataclass(frozen=True, slots=True)
class Told:
    """A finding in words: how grave, where, what it is, what to do, and how sure (percent)."""

    severity: str
    where: str
    say: str
    do: str
    sure: int | None
    #: What is ordered for it, in words.
    suggest: str = ""
    code: str = ""
    #: Why it was gone on with knowingly, where it was.
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Findings:
    """Findings, the gravest first."""

    findings: tuple[Told, ...]
    kind: Literal["findings"] = "findings"


Body = Table | Fields | Items | Findings


@dataclass(frozen=True, slots=True)
class Section:
    """One section. `none` is what is said where the body is empty."""

    key: str
    title: str
    body: Body
    none: str = ""


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing at one place of the bank, as found and as left, in words; `low` and `high` are its band in turns."""

    name: str
    unit: str
    found: str
    left: str
    position: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """One place of the bank and what was measured there."""

    place: str
    measures: tuple[Measure, ...]


@dataclass(frozen=True, slots=True)
class BodyDrawn:
    """One body of the bank, drawn where it sits."""

    place: str
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Spread:
    """How far a row lay apart (max less min), before and after, and the rows themselves, in `unit`."""

    title: str
    unit: str
    found: float | None
    left: float | None
    found_row: tuple[float | None, ...]
    left_row: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """The whole sheet. `shop` is the shop's own header, its name first; `head` is the newest hash of the record."""

    number: int
    run: str
    title: str
    shop: tuple[str, ...]
    outcome: str
    mood: Literal["good", "bad", "open"]
    say: str
    top: Fields
    sections: tuple[Section, ...]
    bank: tuple[BodyDrawn, ...]
    spreads: tuple[Spread, ...]
    foot: str
    head: str
    kind: Literal["job sheet"] = "job sheet"
    version: int = 1


#: Whatever the sheet prints is in the chain of its run, or is said not to be.
_HEAD_APART = "The shop's own head on top is as its settings have it today, and not under the seal."


def document(sheet: Sheet, shop: Sequence[str] = ()) -> Document:
    """The document of a sheet; `shop`: lines of the shop's header."""
    word, mood = OUTCOMES.get(sheet.outcome, (sheet.outcome.upper(), "open"))
    return Document(
        number=sheet.job_number,
        run=sheet.run,
        title=sheet.title,
        shop=tuple(shop),
        outcome=word,
        mood=mood,
        say=sheet.say,
        top=Fields(tuple((label, text) for label, text in _top(sheet) if text)),
        sections=tuple(s for s in _sections(sheet) if s.none or filled(s.body)),
        bank=_bank(sheet),
        spreads=tuple(_spreads(sheet.compared)),
        foot=f"{_foot(sheet)} {_HEAD_APART}" if shop else _foot(sheet),
        head=sheet.head,
    )


def filled(body: Body) -> bool:
    """Whether a body has anything to say."""
    return bool(body.items if isinstance(body, Items) else body.findings if isinstance(body, Findings) else body.rows)


def _top(sheet: Sheet) -> Iterable[tuple[str, str]]:
    job = sheet.job
    engine, bank = job.engine, job.bank
    barrels = f"{bank.carbs} x {bank.barrels_per_carb} barrels, " if bank.barrels_per_carb > 1 else f"{bank.carbs}, "
    yield "Customer", job.customer
    yield "Vehicle", job.vehicle.description
    yield "Registration", job.vehicle.registration
    yield "Odometer", str(job.vehicle.odometer)
    yield "Complaint", job.title
    yield "Engine", f"{engine.cylinders} cylinders, {quantity(engine.displacement, None)} cc" if job.has_engine else ""
    yield "Carburettors", barrels + bank.family
    yield "Procedure", f"{sheet.title} ({sheet.procedure}, revision {sheet.revision})"
    yield "Work", f"{_day(sheet.started)} to {_day(sheet.ended)}" if sheet.ended else f"begun {_day(sheet.started)}"
    yield "Worked", _worked(sheet)


def _worked(sheet: Sheet) -> str:
    hours, minutes = divmod(sheet.worked, 60)
    time = " ".join(filter(None, (f"{hours} h" if hours else "", f"{minutes} min" if minutes or hours else "")))
    return ", ".join(filter(None, (", ".join(sheet.people), time)))


def _day(clock: str) -> str:
    return clock[:16].replace("T", " ")


def _sections(sheet: Sheet) -> Iterable[Section]:
    before = ("before", "after")
    yield Section(
        "compared", "AS FOUND AND AS LEFT", Table(("as found", "as left"), _rows(sheet.compared)), "Nothing recorded."
    )
    yield Section("apart", "HOW FAR APART, most less least", Table(("as found", "as left"), _apart(sheet.compared)))
    yield Section("bands", "SCREWS IN THEIR BANDS", Table(("stands at", "belongs"), _bands(sheet.stands)))
    yield Section(
        "screws", "SCREWS TURNED, counted from the zero of each", Table(before, _changes(sheet.screws)), "None."
    )
    yield Section("parts", "PARTS CHANGED", Table(before, _changes(sheet.parts)), "None.")
    measured = tuple(_in_a_line(line) for line in sheet.measured)
    yield Section("measured", "MEASURED ON THE WAY", Items(measured))
    nothing = "Nothing but the readings above." if sheet.compared or measured else "Nothing."
    yield Section("checked", "CHECKED", Items(tuple(_checked(sheet))), nothing)
    left_out = tuple(f"{n.what.rstrip('?')}: {n.reason}" for n in sheet.not_done)
    yield Section("unchecked", "NOT CHECKED", Items(left_out), "Everything that was asked was checked.")
    yield Section("findings", "FINDINGS THAT STAND", Findings(tuple(_told(sheet.findings))), "None.")
    orders = tuple(f"{o.count} x {o.part} {o.size}" for o in sheet.orders)
    yield Section("orders", "TO ORDER", Items((*orders, *sheet.awaited)), "None.")
    seen = tuple(f"{ask}, {count} times" if count > 1 else f"{ask}, once" for ask, count in sheet.symptoms)
    yield Section("seen", "SEEN DURING THE WORK", Items(seen))
    yield Section("customer", "FOR THE CUSTOMER", Items(tuple(_advice(sheet))))
    yield Section("conditions", "INSTRUMENTS AND CONDITIONS", Items(tuple(_conditions(sheet))))
    settings = tuple(f"{n}: {v} ({who})" for n, v, who in sheet.settings)
    yield Section("settings", "SETTINGS OF THIS SHOP OR JOB", Items(settings))
    yield Section("notes", "NOTES", Items(sheet.notes))
    yield Section("struck", "STRUCK, and not counted above", Items(sheet.struck_answers))
    yield Section("not sealed", "NOT UNDER THE SEAL", Items(sheet.not_sealed))
    yield Section("files", "PROCEDURES FOLLOWED", Items(tuple(_files(sheet.files))))


def _rows(compared: Iterable[Compared]) -> tuple[Row, ...]:
    out: list[Row] = []
    for line in compared:
        title = _in_unit(line.title, line.unit)
        alone = len(line.places) == 1 and not line.places[0]
        for place, was, now in zip(line.places, line.found, line.left, strict=True):
            cells = (value(was, line.unit), value(now, line.unit))
            changed = cells[0] != cells[1]
            out.append(Row(title, cells, "", changed) if alone else Row(place, cells, title, changed))
    return tuple(out)


def _in_unit(title: str, unit: str | None) -> str:
    return f"{title}, {unit_word(unit)}" if unit else title


def value(one: Any, unit: str | None) -> str:
    """A value in its declared unit in words; `-` where it was not taken."""
    if one is None:
        return "-"
    if isinstance(one, str | bool):
        return quantity(one, None)
    return fraction(one) if unit == "turn" else quantity(one, None)


def _numbers(row: Iterable[Any]) -> tuple[Fraction | None, ...]:
    return tuple(v if isinstance(v, Fraction) else None for v in row)


def _distance(row: Iterable[Any]) -> Fraction | None:
    there = [v for v in row if isinstance(v, Fraction)]
    return max(there) - min(there) if len(there) > 1 else None


def _apart(compared: Iterable[Compared]) -> tuple[Row, ...]:
    out = []
    for line in compared:
        if line.quantity in ("airflow", "depression", "compression", "lambda", "CO"):
            found, left = _distance(line.found), _distance(line.left)
            if found is not None or left is not None:
                title = _in_unit(line.title, line.unit)
                out.append(Row(title, (value(found, line.unit), value(left, line.unit)), "", found != left))
    return tuple(out)


def _spreads(compared: Iterable[Compared]) -> Iterable[Spread]:
    for line in compared:
        if line.quantity in ("airflow", "depression") and len(line.places) > 1:
            rows = (_numbers(line.found), _numbers(line.left))
            found, left = (tuple(None if v is None else float(v) for v in row) for row in rows)
            apart = tuple(None if (v := _distance(row)) is None else round(float(v), 4) for row in rows)
            yield Spread(line.title, line.unit or "", apart[0], apart[1], found, left)


def _bands(stands: Iterable[Stand]) -> tuple[Row, ...]:
    out = []
    for stand in stands:
        if stand.band is None:
            continue
        low, high = stand.band
        for place, at in zip(stand.places, stand.left, strict=True):
            how = "not counted" if at is None else "in band" if low <= at <= high else "under" if at < low else "over"
            band = f"{fraction(low)} to {fraction(high)}: {how}"
            out.append(Row(place, ("-" if at is None else fraction(at), band), stand.name, how in ("under", "over")))
    return tuple(out)


def _changes(changes: Iterable[Change]) -> tuple[Row, ...]:
    return tuple(
        Row(f"{c.what}, {c.place}" if c.place else c.what, (c.before, c.after), "", c.before != c.after)
        for c in changes
    )


def _in_a_line(line: Compared) -> str:
    """A row as one sentence: what was measured, and what at each place."""
    title = _in_unit(line.title.rstrip("?"), line.unit)
    there = [(p, value(v, line.unit)) for p, v in zip(line.places, line.left, strict=True)]
    return f"{title}: " + "; ".join(f"{place} {said}".strip() for place, said in there)


def _checked(sheet: Sheet) -> Iterable[str]:
    for one in sheet.checked:
        where = f" ({one.place})" if one.place else ""
        mark = "  NOT AS IT SHOULD BE" if one.sound is False else ""
        yield f"{one.what.rstrip('?')}{where}: {one.said}{mark}"


_GRAVEST = ("stop", "change part", "adjust", "note")


def beside(finding: Finding, places: str) -> str:
    """The places that are said beside a finding: none where its own sentence begins with them."""
    return "" if finding.say.casefold().startswith(places.casefold()) else places


def _told(findings: Iterable[tuple[Finding, str]]) -> Iterable[Told]:
    for finding, places in sorted(findings, key=lambda f: _GRAVEST.index(f[0].severity)):
        suggest = finding.suggest
        part = f"{suggest.part} {quantity(suggest.new, None)}" if suggest is not None else ""
        sure = None if finding.sureness is None else round(100 * finding.sureness)
        where = beside(finding, places)
        yield Told(finding.severity, where, finding.say, finding.do, sure, part, finding.code, finding.accepted)


def _advice(sheet: Sheet) -> Iterable[str]:
    if sheet.outcome == "not finished":
        return
    if sheet.engine:
        yield NOT_TO_DRIVE if sheet.outcome == "stopped" else DRIVE
        if sheet.screws or sheet.parts:
            yield SET_WARM
    if sheet.outcome != "stopped" and any(f.severity in ("stop", "change part") for f, _ in sheet.findings):
        yield "It is not finished: what stands under FINDINGS is to be mended, and the bank set again after it."
    back = sheet.recheck
    if back is not None:
        when = " or ".join(filter(None, (back.due, f"at {back.odometer}" if back.odometer else "")))
        yield f"Come back {when}{f': {back.why}' if back.why else ''}."


def _files(files: Iterable[tuple[str, int]]) -> Iterable[str]:
    """The files of a run by their revision, a sentence each."""
    by: dict[int, list[str]] = {}
    for name, revision in files:
        by.setdefault(revision, []).append(name)
    for revision, names in sorted(by.items()):
        yield f"Revision {revision}: {', '.join(names)}"


def _conditions(sheet: Sheet) -> Iterable[str]:
    job = sheet.job
    said = job.instruments.model_dump(mode="json")
    shown = {
        name: v for name, v in said.items() if v not in (False, None, "") and (name, v) != ("airflow_scale", "kg/h")
    }
    has = [name.replace("_", " ") for name, v in shown.items() if v is True]
    yield f"Instruments: {', '.join(has) or 'none named'}"
    metered = job.instruments.lambda_meter or job.instruments.co_meter
    for name, v in shown.items():
        if v is not True and (metered or name != "exhaust_sampling"):
            yield f"{name.replace('_', ' ').capitalize()}: {_plain(v)}"
    air = job.conditions
    yield f"Air: {decimal(air.temperature, Fraction(1))} degC, {decimal(air.altitude, Fraction(1))} m above the sea"
    if sheet.engine:
        yield f"Fuel: petrol with {decimal(job.fuel.ethanol, Fraction(1))} % ethanol"


def _plain(v: Any) -> str:
    if isinstance(v, Fraction | int):
        return decimal(Fraction(v))
    return ", ".join(map(_plain, v)) if isinstance(v, list | tuple) else str(v)


def _foot(sheet: Sheet) -> str:
    struck = f" {sheet.struck} answers were struck by undo and stay in the record." if sheet.struck > 0 else ""
    return f"Evendraw {sheet.version}. {sheet.events} events.{struck} The maker's data and local rules come first."


# ---- the bank as it sits


def _bank(sheet: Sheet) -> tuple[BodyDrawn, ...]:
    """What was measured, gathered body by body and barrel by barrel."""
    at: dict[Place, list[Measure]] = {}
    bands = {stand.name: stand.band for stand in sheet.stands}
    shown = [line for line in sheet.compared if line.each in ("barrel", "carb")]
    for line in shown:
        band = bands.get(line.title)
        for place, was, now in zip(line.at, line.found, line.left, strict=True):
            low, high = (float(v) for v in band) if band else (None, None)
            position = float(now) if band and isinstance(now, Fraction) else None
            at.setdefault(place, []).append(
                Measure(line.title, line.unit or "", value(was, line.unit), value(now, line.unit), position, low, high)
            )
    words = {p: w for line in shown for p, w in zip(line.at, line.places, strict=True)}
    carbs = sorted({p.carb for p in at if p.carb is not None})
    return tuple(
        BodyDrawn(
            sheet.bodies[carb - 1],
            tuple(Spot(words[p], tuple(at[p])) for p in sorted((q for q in at if q.carb == carb), key=_within)),
        )
        for carb in carbs
    )


def _within(place: Place) -> int:
    return place.barrel or 0
