"""Lines of every shape sent to the line protocol: right answers, right ones spoilt, and any JSON at all. No line may
break the program, and what was acknowledged is in the book once, and leads to the same state when it is read again.
"""

from __future__ import annotations

import io
import json
import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from engine.protocol import talk
from engine.run.answer import KINDS, RIDERS
from engine.session.session import Session
from tests.durability.books import Answer, begun

_KEYS = (*(k.key for k in KINDS), *(r for r in RIDERS if r != "answers"), "for", "answers", "x")
_INSIDE = ("screw", "carb", "barrel", "turns", "direction", "position", "aim", "part", "size", "from", "not taken")
_TEXTS = (
    "",
    " ",
    "yes",
    "no",
    "over range",
    "mended",
    "ends here",
    "go on knowingly",
    "in",
    "spindle",
    "flow",
    "1",
    "²",
    "\0",
    "\x1b[31m",
    "\u202eover",
    "\ud800",
    "a\nb",
    "<b>[red]",
    "'; DROP TABLE event; --",
    "n" * 10_000,
)
_NUMBERS = (0, 1, -1, 2, 3, 0.5, -0.0, 5e-324, 1e14, 1e308, 2**31, 2**63, -(2**63) - 1, 10**40, 7.25, 1e-9)
#: Lines that are no JSON, or are read otherwise by many a reader.
_RAW = (
    b"",
    b"\xff\xfe{}",
    b'\xef\xbb\xbf{"done": true}',
    b"{",
    b"null",
    b"[]",
    b'"done"',
    b'{"done": true, "done": true}',
    b'{"done": NaN}',
    b'{"waited": 1e999}',
    b'{"waited": -1e999}',
    b'{"readings": {"flow": [1e999, 2]}}',
    b'{"moved": [{"screw": "spindle", "carb": 1, "turns": 1e999, "direction": "in"}]}',
    b'{"note": "\\ud83d"}',
    b'{"waited": ' + b"9" * 5000 + b"}",
    b'{"waited": 0.' + b"9" * 5000 + b"}",
    b'{"moved": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    b'{"note": ' + b'{"a":' * 900 + b"1" + b"}" * 900 + b"}",
    b'{"note": "' + b"x" * 1_100_000 + b'"}',
    b"{" + b",".join(b'"k%d": 1' % n for n in range(2000)) + b"}",
)


def anything(source: random.Random, depth: int = 0) -> Any:
    """Any JSON value, mostly shallow."""
    kind = source.randrange(9 if depth < 4 else 6)
    if kind < 2:
        return source.choice(_TEXTS)
    if kind < 4:
        return source.choice(_NUMBERS)
    if kind < 6:
        return source.choice((True, False, None))
    if kind == 6:
        return [anything(source, depth + 1) for _ in range(source.choice((0, 1, 1, 2, 2, 3, 40)))]
    return {source.choice((*_INSIDE, *_TEXTS, *_KEYS)): anything(source, depth + 1) for _ in range(source.randrange(4))}


def right(source: random.Random, step: Mapping[str, Any], stand: Sequence[int], struck: bool) -> dict[str, Any]:
    """An answer that the step may well take."""
    some = source.random()
    if struck and some > 0.8:
        return {"redo": True}
    if some < 0.12:
        return {
            "note": source.choice(("Stiff.", *_TEXTS[1:])),
            **({"about": source.choice(stand)} if stand and some < 0.03 else {}),
        }
    if some < 0.2:
        return {"undo": True}
    if some < 0.23 and stand:
        return {"strike": source.choice(stand)}
    if some < 0.26:
        return {"wait_for_parts": {"parts": ["washer"], "note": "Monday"}} if some < 0.25 else {"resume": True}
    if some < 0.28:
        return {"suspend": True}
    if some < 0.32 and step["symptoms"]:
        return {"symptom": source.choice(step["symptoms"])["id"], "understood": True}
    if step["gate"] is not None:
        return {"gate": source.choice(("mended", "ends here", "go on knowingly")), "reason": "Seen."}
    answer: dict[str, Any] = {"done": True}
    if step["read"]:
        answer = {"readings": {ask["name"]: _value(source, ask) for ask in step["read"]}}
    if step["moves"] and source.random() < 0.5:
        answer["moved"] = [dict(m) for m in step["moves"]][source.randrange(2) :]
    if step["fit"] and source.random() < 0.5:
        answer["fitted"] = [dict(p) for p in step["fit"]]
    return {**answer, "understood": True} if any(c["understand"] for c in step["cautions"]) else answer


def _value(source: random.Random, ask: Mapping[str, Any]) -> Any:
    def one() -> Any:
        if ask["may_lack"] and source.random() < 0.1:
            return None if not ask["lack_needs_reason"] else {"not taken": "It is seized."}
        if ask["choices"]:
            return source.choice(ask["choices"])
        low, high = ask["range"] or (0, 10)
        return round(source.uniform(low, high), 1)

    return [one() for _ in range(ask["count"])] if ask["each"] else one()


def spoilt(source: random.Random, value: Any) -> Any:
    """The same with one thing in it put wrong."""
    if isinstance(value, dict) and value and source.random() < 0.85:
        key = source.choice(list(value))
        if source.random() < 0.1:
            return {k: v for k, v in value.items() if k != key}
        return {**value, key: spoilt(source, value[key])}
    if isinstance(value, list) and value and source.random() < 0.85:
        at = source.randrange(len(value))
        return [*value[:at], *([spoilt(source, value[at])] * source.choice((1, 1, 1, 0, 2))), *value[at + 1 :]]
    return anything(source)


def line(source: random.Random, step: Mapping[str, Any] | None, stand: Sequence[int], struck: bool) -> bytes:
    """One line for this step."""
    some = source.random()
    if some < 0.03:
        return source.choice(_RAW)
    if some < 0.05:
        return bytes(source.randrange(256) for _ in range(source.randrange(1, 40))).replace(b"\n", b" ")
    if some < 0.2:
        made = {source.choice(_KEYS): anything(source) for _ in range(source.randint(1, 3))}
    else:
        made = right(source, step, stand, struck) if step is not None else {"note": "Over."}
        if source.random() < 0.25:
            made |= {source.choice(("key", "by", "for", "understood", "reason")): anything(source)}
        if source.random() < 0.4:
            made = spoilt(source, made)
    data = (
        json.dumps(made).encode()
        if source.random() < 0.8
        else json.dumps(made, ensure_ascii=False).encode("utf-8", "surrogatepass")
    )
    return data[: source.randrange(len(data))] if source.random() < 0.01 else data


class _Sent:
    """Lines for a run, each made when the one before it was answered, as by a client that saw the step."""

    def __init__(self, session: Session, count: int, source: random.Random) -> None:
        self.session, self.left, self.source, self.last = session, count, source, b""

    def __iter__(self) -> Iterator[bytes]:
        while self.left > 0:
            self.left -= 1
            view = self.session.view
            step = talk.step_message(view) if view.end is None else None
            stand = [mark.seq for mark in view.trail]
            self.last = line(self.source, step, stand, self.session.state.redo is not None)
            yield self.last


def sent(session: Session, count: int, source: random.Random) -> Iterator[str]:
    """Send so many lines to a run; a sentence for each that breaks it, or an answer that was acknowledged and is not in
    the record, or is there and was not acknowledged.
    """
    lines, acknowledged = _Sent(session, count, source), set()
    while lines.left > 0:
        out = io.StringIO()
        try:
            talk.talk(session, lines, out)
        except Exception as fault:
            yield f"{lines.last[:300]!r}: {type(fault).__name__}: {fault}"
        for heard in map(json.loads, out.getvalue().splitlines()):
            if "The program failed" in heard.get("problem", ""):
                yield f"{heard['problem'][:600]}"
            if heard["kind"] == "recorded":
                acknowledged.add(heard["seq"])
        if session.over:
            reply = session.answer(Answer(undo=True))  # what ends a run may be struck, and then it goes on
            if reply.recorded is None:
                break  # it was over from its start
            acknowledged.add(reply.recorded)
    stored = session.book.events(session.run)
    there = {e.seq for e in stored if json.loads(e.body)["kind"] not in ("started", "suspended")}
    if there != {n for n in acknowledged if json.loads(stored[n].body)["kind"] != "suspended"}:
        yield f"acknowledged and recorded differ: {sorted(there ^ acknowledged)}"
    keys = [e.key for e in stored if e.key is not None]
    if len(set(keys)) != len(keys):
        yield "a key is in the record twice"
    again = Session.reopen(session.book, session.run, advisers=session._advisers, reading=True)
    if again.view != session.view:
        yield "read again, the run stands elsewhere"


def sweep(count: int, seed: int, shipped: bool = True) -> Iterator[str]:
    """So many lines over runs of the two valves and, `shipped`, of the shipped procedures."""
    source, left = random.Random(seed), count
    makers = [lambda n: begun(), *(_shipped() if shipped else ())]
    number = 0
    while left > 0:
        each = min(left, 150)
        session = makers[number % len(makers)](number)
        number, left = number + 1, left - each
        for sentence in sent(session, each, source):
            yield f"{session.plan.main.name}: {sentence}"
        session.close()
        session.book.close()


def _shipped() -> list[Any]:
    """What starts a run of each shipped procedure that may be a job's first, on an engine drawn to fit."""
    from engine.bench.trial.fleet import random_job
    from engine.book.book import Book
    from engine.carburation.registry import shipped
    from engine.procedure.build.load import load
    from tui.commandline.places import shipped as folder

    registry = shipped()
    out: list[Any] = []
    for path in sorted(folder().glob("*.yaml")):
        program = load(path, [folder()], registry).program
        assert program is not None
        families = [f for f in program.files[program.main].layout.families if f != "any"]

        def start(number: int, program: Any = program, families: Any = families) -> Session:
            layout = program.files[program.main].layout
            job = random_job(number, *families[:1], counts=(layout.carbs, layout.barrels_per_carb))
            return Session.start(program, job, book=Book.memory(), advisers=registry)

        out.append(start)
    return out
