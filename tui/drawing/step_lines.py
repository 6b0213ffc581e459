"""A step as lines of words for the run screen: head, instruction, cautions, findings, trend, trail; pure, it asks and
decides nothing.

Each function takes a `View` and a width in cells, and gives lines none of which is wider.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from fractions import Fraction

from engine.evidence import Finding, Place
from engine.quantity import wording
from engine.session.view import CautionView, Hours, Latest, View
from engine.vocabulary.sources import cited
from tui.drawing import phrases
from tui.drawing.lines import Line, Lines, clean, cut_line, fill, width, wrapped
from tui.drawing.signs import SEVERITY_ROLE, SIGNAL_ROLE, SIGNS

_WORST_FIRST = {"stop": 0, "change part": 1, "adjust": 2, "note": 3}


def head(view: View, cells: int) -> Lines:
    """What the step is called, its round, and how things must stand."""
    round_ = f"  round {view.visit}" if view.visit > 1 else ""
    place = f"{wording.place(view.here, view.terms)}: " if view.here is not None else ""
    title = clean(place + view.title)
    state = _state(view, 999)
    if width(state) + len(title) + len(round_) + 2 <= cells:
        return [_ends(((title, "title"), (round_, "soft")), state, cells)]
    # Neither a title nor how things must stand is ever cut: that goes below it; on a narrow screen what the engine does
    # and what is new, the rest stands on the record page.
    if cells < 78:
        return [*wrapped(title + round_, cells, "title"), cut_line(_state(view, cells, few=True), cells)]
    few = _state(view, 999, few=True)
    rest = tuple((text.removeprefix(" · ") if not n else text, r) for n, (text, r) in enumerate(state[len(few) :]))
    rest = tuple(piece for piece in rest if piece[0])
    if width(few) + len(title) + len(round_) + 2 <= cells and width(rest) <= cells:
        return [_ends(((title, "title"), (round_, "soft")), few, cells), _ends((), rest, cells)]
    said = "".join(text for text, _ in state)
    return [*wrapped(title + round_, cells, "title"), *wrapped(said, cells, "ink")]


def _state(view: View, cells: int, few: bool = False) -> Line:
    """How things must stand: the engine and what is new first; `few`: these alone. What has no room is counted."""
    rows = phrases.state_words(view.state)
    rows = tuple(row for row in rows if not few or row[0] in ("engine", "hold") or row[0] in view.changes)
    rows = tuple(sorted(rows, key=lambda row: (row[0] != "engine", row[0] not in view.changes)))
    out: Line = ()
    for n, (key, label, value) in enumerate(rows):
        new = key in view.changes
        loud = key in ("engine", "hold") or new
        said = clean(f"{label} {value.upper() if loud else value}")
        if key == "engine" and view.hours is not None and view.hours.running:
            said += _hours(view.hours)
        piece: Line = ((" · " if n else "", "soft"), (said, "amber" if new else "strong" if loud else "soft"))
        if n and width((*out, *piece)) + 4 > cells:
            return (*out, (f" · +{len(rows) - n}", "soft"))
        out = (*out, *piece)
    return out


def stands(view: View, cells: int) -> Lines:
    """How things must stand, all of it, and how long the engine has run."""
    said = ", ".join(f"{label} {value}" for _, label, value in phrases.state_words(view.state))
    out = wrapped(said, cells, "ink")
    if view.hours is not None:
        hot = f", hot for {view.hours.hot} min" if view.hours.hot is not None else ""
        out += wrapped(f"The engine has run {view.hours.running} min since the work began{hot}.", cells, "soft")
    return out


def _hours(hours: Hours) -> str:
    """How long it has run: ` 23 min, hot 14`."""
    hot = f", hot {hours.hot}" if hours.hot is not None else ""
    return f" {hours.running} min{hot}"


def _ends(left: Line, right: Line, cells: int) -> Line:
    """One line with a left and a right end; the left one is shortened where both have no room."""
    right = cut_line(right, cells)
    room = cells - width(right)
    return (*fill(left, max(0, room - 1)), *(((" ", "ink"),) if room > 0 else ()), *right)


def instruction(view: View, cells: int, done: bool = False) -> Lines:
    """What is new in how things must stand, and what to do; quieter once its moves are `done`."""
    changed = [
        f"{label} {value.upper()}" for key, label, value in phrases.state_words(view.state) if key in view.changes
    ]
    out: Lines = []
    if changed and not view.end:
        out += wrapped(", ".join(changed), cells, "mark", head=("Now: ", "mark"))
    return out + wrapped(view.do, cells, "ink" if done else "strong")


def jets(view: View, card: Mapping[str, str]) -> str:
    """The sizes on record, where a step asks for one, fits one or speaks of them: `idle jet 50, 50, 55, 50 along
    the bank; choke 32 mm`. `card`: what else the job says of sizes, by part."""
    asked = any(ask.quantity.endswith("jet size") for ask in view.read)
    if not (asked or view.fit or view.phase == "jets"):
        return ""
    fitted: dict[str, list[str]] = {}
    for (part, _), size in sorted(view.parts.items(), key=lambda item: (item[0][0], _along(item[0][1]))):
        fitted.setdefault(phrases.plain(part), []).append(wording.decimal(size))
    for row in view.latest:
        # What was read off the jets themselves outranks the job card, as long as none was changed since.
        part = row.quantity.removesuffix(" size")
        if part in fitted and not row.since and all(isinstance(size, Fraction) for size in row.row):
            fitted[part] = [wording.decimal(size) for size in row.row]
    said = []
    for part, sizes in fitted.items():
        alike = len(set(sizes)) == 1
        said.append(f"{part} {sizes[0]}" if alike else f"{part} {', '.join(sizes)} along the bank")
    return "; ".join((*said, *(f"{part} {size}" for part, size in card.items() if part not in fitted)))


def _along(place: Place) -> tuple[int, int]:
    return place.carb or 0, place.barrel or 0


def minding(view: View, cells: int, fitted: str = "") -> Lines:
    """What to mind: the sizes that are `fitted`, the step's own caution, what will be heard, the note, and why the run
    came here."""
    out: Lines = wrapped(fitted, cells, "ink", head=("On record: ", "soft")) if fitted else []
    if view.caution:
        out += wrapped(view.caution, cells, "strong", head=("Caution: ", "amber"))
    out += wrapped(view.hear, cells, "ink", head=("Hear: ", "soft"))
    out += wrapped(view.note, cells, "ink", head=("Note: ", "soft"))
    for reason in view.because:
        out += wrapped(reason, cells, "soft", head=("← ", "soft"))
    return out


def word_mark(caution: CautionView) -> tuple[str, str]:
    """The signal word on its ground."""
    return f" {caution.word.upper()} ", SIGNAL_ROLE.get(caution.word, "amber")


def signal(caution: CautionView, cells: int, new: bool = True) -> Lines:
    """A caution in full with its signal word in front, on its ground only where it is new."""
    mark = word_mark(caution) if new else (f"{caution.word.capitalize()}: ", "soft")
    return wrapped(caution.text, cells, "strong" if new else "soft", head=mark, indent=2)


def cautions(view: View, cells: int, seen: Collection[str] = (), fresh: bool | None = None) -> Lines:
    """The cautions of the step in full; dangers that are to be understood are asked in the answering place. Those that
    stood on an earlier step already (`seen`) are quiet. `fresh`: only those that are new, or only the others."""
    these = [c for c in view.cautions if not c.understand and fresh in (None, c.name not in seen)]
    return [line for c in these for line in signal(c, cells, c.name not in seen)]


def standing(view: View, cells: int, understood: Collection[str] = ()) -> Lines:
    """One quiet line that names the dangers which were understood and stand; their words are on the record page."""
    names = [c.name for c in (*(c for c in view.cautions if c.understand and c.name in understood), *view.standing)]
    if not names:
        return []
    said = " · ".join(phrases.plain(n) for n in dict.fromkeys(names))
    return wrapped(f"Understood, and still there: {said} (F10 says it again)", cells, "soft")


def ranked(findings: Iterable[Finding]) -> list[Finding]:
    """Worst first, else as they came."""
    return sorted(findings, key=lambda f: _WORST_FIRST.get(f.severity, 9))


def finding_head(finding: Finding, where: str) -> Line:
    """Sign, severity and place of a finding."""
    role = SEVERITY_ROLE.get(finding.severity, "soft")
    sign = f"{SIGNS.get(finding.severity, '?')} {finding.severity.upper()} "
    twice = where and where.casefold() in clean(finding.say).casefold()
    return ((sign, role), (f"{clean(where)}: " if where and not twice else "", "strong"))


def findings(view: View, cells: int, rows: int, full: bool = False) -> Lines:
    """The findings that stand, worst first; what has no room is counted."""
    these = ranked(view.findings)
    if not these:
        return [(("No findings stand.", "soft"),)] if full else []
    out: Lines = []
    for n, finding in enumerate(these):
        where = _where(finding, view)
        lines = finding_lines(finding, where, cells, full)
        left = len(these) - n - 1
        if n and len(out) + len(lines) + (1 if left else 0) > rows:
            more = wording.count(len(these) - n, "more finding")
            out.append(cut_line(((f"and {more}: F10", "soft"),), cells))
            return out if full else out[:rows]
        out += lines
    return out if full else out[:rows]


def worst_rows(view: View, cells: int) -> int:
    """How many rows the worst finding takes whole, with the line that counts the others."""
    these = ranked(view.findings)
    if not these:
        return 0
    return len(finding_lines(these[0], _where(these[0], view), cells, False)) + (len(these) > 1)


def _where(finding: Finding, view: View) -> str:
    return wording.places(finding.where, view.terms, each=finding.each) if finding.where else ""


def finding_lines(finding: Finding, where: str, cells: int, full: bool) -> Lines:
    """One finding: on one line, or in full with what to do and how sure it is. `where`: its places in words."""
    head_ = finding_head(finding, where)
    if not full:
        first = "".join(text for text, _ in head_)
        lines = wrapped(finding.say, cells, "ink", head=(first, "ink"), indent=2)
        whole = [(*head_, *lines[0][1:]), *lines[1:]] if lines else [head_]
        return [cut_line(line, cells) for line in whole]
    out: Lines = [cut_line(head_, cells)]
    out += wrapped(finding.say, cells - 2, "ink", head=("  ", "ink"))
    out += wrapped(finding.do, cells - 2, "ink", head=("  Do: ", "soft"))
    if finding.suggest is not None:
        out.append(cut_line((("  Fit: ", "soft"), (clean(suggestion(finding)), "mark")), cells))
    if finding.sureness is not None:
        out.append((("  ", "ink"), (sureness(finding.sureness), "soft")))
    return out


def suggestion(finding: Finding) -> str:
    """The part to fit: `idle jet 55 in place of 50`."""
    s = finding.suggest
    if s is None:
        return ""
    instead = f" in place of {wording.decimal(s.old)}" if s.old is not None else ""
    return f"{phrases.plain(s.part)} {wording.decimal(s.new)}{instead}"


def sureness(value: float) -> str:
    """How sure, as a word with the figure."""
    steps = ((0.95, "as good as certain"), (0.75, "likely"), (0.5, "more likely than not"))
    said = next((word for floor, word in steps if value >= floor), "only a suspicion")
    return f"{said} ({round(100 * value)} %)"


def main_row(view: View) -> Latest | None:
    """The row that the bank shows: of what is read at this step the newest, else the newest that is to be brought
    together, else the newest of the bank's numbers."""
    rows = [
        row
        for row in view.latest
        if row.each in ("barrel", "carb")
        and row.unit not in (None, "turn", "flat")  # where a screw stands is said at the screw
        and not row.quantity.endswith("position")
        and any(isinstance(v, Fraction) for v in row.row)
    ]
    read = {ask.quantity for ask in view.read if ask.each in ("barrel", "carb") and ask.unit}
    here = next((row for row in rows if row.quantity in read and row.quantity != "other"), None)
    return here or next((row for row in rows if row.tolerance is not None), rows[0] if rows else None)


def row_name(row: Latest) -> str:
    """What a row is, as it was taken: `airflow, 1500 rpm, as found`."""
    how = "" if row.hold == "stopped" else f", {row.hold}" if row.hold != "idle" else ", at idle"
    return clean(f"{phrases.plain(row.quantity if row.quantity != 'other' else row.name)}{how}")


def age(row: Latest) -> tuple[str, str]:
    """Whether a row still says how things stand, as words and a role: `as found`, `OLD: a screw was turned since`."""
    if row.since:
        return f"OLD{' (as found)' if row.found else ''}: {row.since} since", "soft"
    return ("as found", "soft") if row.found else ("", "soft")


def spread_line(view: View, cells: int) -> Lines:
    """What the bank shows, whether it is old, and its spread against the tolerance with how it came down:
    `airflow, at idle  spread 2.4 → 1.1 → 0.4 kg/h`; on two lines where one has no room."""
    row = main_row(view)
    if row is None:
        return []
    said, role = age(row)
    name: Line = ((row_name(row), "strong"), (f", {row.unit or ''}", "soft"), (f"  {said}" if said else "", role))
    spread = _spread_of(row)
    if not spread:
        return wrapped("".join(text for text, _ in name), cells, "soft") if width(name) > cells else [name]
    if width(name) + width(spread) + 2 <= cells:
        return [(*name, ("  ", "ink"), *spread)]
    whole = [name] if width(name) <= cells else wrapped("".join(text for text, _ in name), cells, "soft")
    return [*whole, cut_line(spread, cells)]


def _spread_of(row: Latest) -> Line:
    if not row.spreads:
        return ()
    step = Fraction(1, 100) if row.spreads[-1] < Fraction(1, 10) else Fraction(1, 10)
    past = " → ".join(wording.decimal(s, step) for s in row.spreads[-5:])
    if row.tolerance is None:
        verdict, role = "", "soft"
    elif row.spreads[-1] <= row.tolerance:
        verdict, role = f"  EVEN, within {_hundredth(row.tolerance)}", "good"
    else:
        over = _hundredth(row.spreads[-1] - row.tolerance)
        verdict, role = f"  UNEVEN by {over}, may be {_hundredth(row.tolerance)}", "amber"
    if row.since:
        role = "soft"
    return (("spread ", "soft"), (f"{past} {row.unit or ''}", "strong" if not row.since else "soft"), (verdict, role))


def _hundredth(value: Fraction) -> str:
    return wording.decimal(Fraction(round(value * 100), 100))


def trend(view: View, cells: int, rows: int) -> Lines:
    """The spread by round, one horizontal bar a round, the number first, the tolerance marked on each; nothing of one
    round alone."""
    row = main_row(view)
    if row is None or len(row.spreads) < 2 or rows < 2:
        return []
    out: Lines = [cut_line(((f"Spread of {row_name(row)}, by round, {row.unit or ''}", "soft"),), cells)]
    top = max([*row.spreads, row.tolerance or 0]) or Fraction(1)
    step = next((s for s in (Fraction(1), Fraction(1, 10)) if all(x % s == 0 for x in row.spreads)), Fraction(1, 100))
    first = max(0, len(row.spreads) - (rows - 1))
    room = max(4, cells - 16)
    for n, spread in enumerate(row.spreads[first:], first + 1):
        even = row.tolerance is not None and spread <= row.tolerance
        bar = round(room * float(spread / top))
        mark = -1 if row.tolerance is None else min(room, round(room * float(row.tolerance / top)))
        drawn = "".join(("┊" if c >= bar else "┃") if c == mark else "━" if c < bar else " " for c in range(room + 1))
        line: Line = (
            (f"{n:>3} ", "soft"),
            (f"{wording.decimal(spread, step):>6} ", "strong"),
            (drawn.rstrip(), "good" if even else "amber"),
            (" even" if even else "", "good"),
        )
        out.append(cut_line(line, cells))
    return out


def trail(view: View, cells: int, rows: int) -> Lines:
    """The last steps that were answered, newest at the bottom."""
    out: Lines = []
    for mark in view.trail[-rows:]:
        clock = f"{clean(mark.at)[11:16]} " if len(mark.at) >= 16 else ""
        said = f": {mark.said}" if mark.said else ""
        again = f" ({mark.visit})" if mark.visit > 1 else ""
        out.append(
            cut_line(
                (
                    (clock, "soft"),
                    (clean(mark.title or phrases.plain(mark.step)) + again, "ink"),
                    (clean(said), "soft"),
                ),
                cells,
            )
        )
    return out


def has_why(view: View) -> bool:
    """Whether anything is written on why the step is there."""
    sources = (view.source, *(ask.source for ask in view.read))
    return bool(view.why or view.because or any(sources) or any(a.because is not None for a in view.advice))


def why(view: View, cells: int) -> Lines:
    """Why this step and why this advice, in the adviser's words."""
    out: Lines = []
    out += wrapped(view.why, cells, "ink", head=("This step: ", "soft"))
    for reason in view.because:
        out += wrapped(reason, cells, "ink", head=("We came here: ", "soft"))
    for about, source in (("Its numbers: ", view.source), *((f"{a.ask}: ", a.source) for a in view.read)):
        out += wrapped(cited(source), cells, "ink", head=(clean(about), "soft"), indent=2) if source else []
    for advised in view.advice:
        if advised.because is None:
            continue
        out += [(), ((f"The advice on {phrases.plain(advised.adviser)}", "strong"),)] if out else []
        for label, text in (
            ("Seen: ", advised.because.used),
            ("So: ", advised.because.concluded),
            ("How sure: ", advised.because.sure),
            ("It would change with: ", advised.because.would_change),
        ):
            out += wrapped(text, cells, "ink", head=(f"  {label}", "soft"), indent=4)
    return out or [(("Nothing more is written about this step, and no advice stands.", "soft"),)]


def how(view: View, cells: int) -> Lines:
    """How each reading of the step is taken."""
    out: Lines = []
    for ask in view.read:
        out += wrapped(ask.ask, cells, "strong")
        out += wrapped(ask.how or "Nothing more is written about this one.", cells, "ink", head=("  ", "ink"))
        for n, choice in enumerate(phrases.offered(ask.choices), 1):
            out += wrapped(choice, cells, "ink", head=(f"  {n:>2}  ", "soft"), indent=6)
        if ask.average:
            average = f"Average over {wording.decimal(ask.average)} s: the middle of the swing."
            out += wrapped(average, cells, "ink", head=("  ", "ink"))
        if ask.take and ask.take > 1:
            out += wrapped(f"Take it {ask.take} times, write down the middle one.", cells, "ink", head=("  ", "ink"))
    return out or [(("Nothing is read at this step.", "soft"),)]
