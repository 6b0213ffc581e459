"""One run with its book: an answer in, committed, the next view out; the screen, the protocol and a rehearsal all
use it.

The event is in the book before anybody sees the step that it leads to. Nothing depends on a clean end.
"""

from __future__ import annotations

import hashlib
import logging
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any, NamedTuple

from engine import VERSION
from engine.book import codec
from engine.book.book import Book
from engine.book.rows import Word
from engine.book.seal import new_salt
from engine.book.trouble import BookTrouble, BookUnsure
from engine.contract import Registry
from engine.evidence import Finding
from engine.job.model import Job
from engine.job.slips import Undeclared, settled
from engine.procedure.program import Kit, Procedure, Program
from engine.procedure.source.files import KITS
from engine.run.admit import admit
from engine.run.answer import Answer, AnswerRefused
from engine.run.bind import NotForThisJob, Settings
from engine.run.events import Event
from engine.run.layout import RunLayout, prepare
from engine.run.machine import begin, step
from engine.run.state import State, walk
from engine.run.walk import Raised
from engine.session.consult import CantGoOn, Drift, Live, OfThen, Stored
from engine.session.contracts import recorded, with_today
from engine.session.last_visit import with_last_visit
from engine.session.shown import show
from engine.session.view import View

__all__ = ["Answer", "BookTrouble", "Drift", "NotForThisJob", "Reply", "Session"]

Clock = Callable[[], str]
_log = logging.getLogger(__name__)
_log.addHandler(logging.NullHandler())


def wall_clock() -> str:
    """The time of day with its zone, to the second: stored as data, read by no fold."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


#: After so long an engine may be cold, and a danger forgotten [common practice: an engine cools within hours].
PAUSE = timedelta(hours=2)
#: What a clock that keeps itself right is put back by at the most [assumed].
SLIPS = timedelta(minutes=1)


def paused(before: str, now: str) -> bool:
    """Whether a pause may lie between two events: the clock says so, or it was set back and can't say. One that can't
    be read says nothing.
    """
    try:
        gone = datetime.fromisoformat(now) - datetime.fromisoformat(before)
        return gone > PAUSE or gone < -SLIPS
    except (TypeError, ValueError):
        return False


@dataclass(frozen=True, slots=True)
class Reply:
    """What became of an answer: the number of its event, or a sentence why it was refused (then nothing was recorded).

    `findings` are those that did not stand before. `unsaved` is true where the answer was good but the book failed.
    """

    recorded: int | None
    problem: str | None = None
    findings: tuple[Finding, ...] = ()
    unsaved: bool = False


_ANOTHER = (
    "This key was given with another answer, event {seq}, so that nothing was recorded. Give each answer a key of its "
    "own, and the same one only where the same answer is sent again."
)


class _Unsure(NamedTuple):
    """An answer of which it is not known whether it was recorded."""

    state: State
    body: bytes
    answer: Answer


class Session:
    """A run that goes on. Make one with `start` or `reopen`."""

    def __init__(
        self,
        run: str,
        job_number: int,
        plan: RunLayout,
        state: State,
        book: Book,
        advisers: Registry,
        clock: Clock,
        started_at: str,
        then: OfThen | None = None,
        version: str = VERSION,
    ) -> None:
        self.run, self.job_number, self.plan, self.book = run, job_number, plan, book
        self._state, self._advisers, self._clock, self.started_at = state, advisers, clock, started_at
        self._then, self._version = then, version
        self._unsure: _Unsure | None = None
        #: Who answers, where an answer does not say.
        self.by = ""

    # ---- beginning

    @classmethod
    def start(
        cls,
        program: Program,
        job: Job,
        *,
        book: Book,
        advisers: Registry,
        clock: Clock | None = None,
        shop: Mapping[str, Any] | None = None,
        job_number: int | None = None,
        rehearsal: Mapping[str, Any] | None = None,
    ) -> Session:
        """Start a run of a program on a job; the job is taken into the book unless it has a number there. `rehearsal`
        says how its virtual engine is made again.

        Raises `NotForThisJob` where the procedure does not fit, `BookTrouble` where the book won't have it.
        """
        clock = clock or wall_clock
        # The run lives on what the record keeps of the job, so that it is the same when it is opened again.
        try:
            known = settled(Job.model_validate(job.engineering()), program.files[program.main].vocabulary)
        except Undeclared as fault:
            raise NotForThisJob(str(fault)) from None
        plan = prepare(program, known, shop)
        live = Live(advisers, known, plan.main.procedure.terms)
        state, _ = begin(plan, live)
        at = clock()
        number = book.take_in(job, at) if job_number is None else job_number
        book.hold(number)
        again = known if rehearsal is not None else with_last_visit(known, book, number, advisers)
        if again is not known:
            plan = prepare(program, again, shop)
            live = Live(advisers, again, plan.main.procedure.terms)
            state, _ = begin(plan, live)
        texts, body = _started(plan, number, live, state, at)
        body |= {"rehearsal": dict(rehearsal)} if rehearsal is not None else {}
        main = program.files[program.main]
        run = book.begin(number, program.main, main.title, at, texts, *sealed_start(book, number, body))
        return cls(run, number, plan, state, book, advisers, clock, at)

    @classmethod
    def reopen(
        cls, book: Book, run: str, *, advisers: Registry, clock: Clock | None = None, reading: bool = False
    ) -> Session:
        """Open a run where it stands, from the texts, settings and answers in the book alone.

        `reading`: only to look at it, while another window may be working on it. Raises `BookTrouble` where the
        record is missing, damaged or held elsewhere, and `Drift` where this program would lead the same answers
        elsewhere. A run that waited for parts, or that nobody has gone on with for a while (`PAUSE`), is resumed: what
        was understood is to be understood again, and the engine may be cold. What became of the advisers since is no
        matter until one is asked again.
        """
        from engine.session.reopen import plan_of

        book.count(run)
        number = int(run.split(".")[0])
        if not reading:
            if (later := book.successor(run)) is not None:
                raise BookTrouble(
                    f"A fact of run {run} was put right, and run {later} took its place: go on with that. 'evendraw "
                    f"sheet {run}' shows this one as it was."
                )
            book.hold(number)
        stored = book.events(run)
        first = codec.body_of(stored[0])
        plan, contracts = plan_of(book, first)
        state = folded(plan, [codec.body_of(s) for s in stored])
        then = OfThen(plan.program, contracts)
        clock = clock or wall_clock
        session = cls(run, number, plan, state, book, advisers, clock, first["at"], then, first["version"])
        stopped = state.waiting is not None or paused(codec.load(stored[-1].body).get("at", ""), clock())
        if stopped and not reading and not session.over:
            session.answer(Answer(resume=True))
        return session

    # ---- going on

    @property
    def state(self) -> State:
        """How the run stands."""
        return self._state

    @property
    def over(self) -> bool:
        """Whether the run has ended."""
        return self._state.end is not None

    @property
    def view(self) -> View:
        """What the technician is shown now."""
        return self._view

    @cached_property
    def _view(self) -> View:
        then = self._then.contracts if self._then is not None else {}
        return show(self.plan, self._state, self.run, with_today(then, self._advisers), self.started_at)

    def answer(self, answer: Answer) -> Reply:
        """Take an answer: refuse it in a sentence, or commit it and go on. Never raises for what a person may type."""
        if answer.by is None and self.by:
            answer = replace(answer, by=self.by)
        if answer.key is not None:
            if not isinstance(answer.key, str) or not 0 < len(answer.key) <= 200 or not encodable(answer.key):
                return Reply(None, "A key is a text of 1 to 200 characters.")
            known = self.book.seq_of(self.run, answer.key)
            if known is not None:
                return Reply(known) if self._is(known, answer) else Reply(None, _ANOTHER.format(seq=known))
        if self._unsure is not None:
            found = self._find_out(answer)
            if found is not None:
                return found
        try:
            event = admit(self.plan, self._state, answer, self._clock())
        except AnswerRefused as refusal:
            return Reply(None, str(refusal))
        live = Live(self._advisers, self.plan.job, self.plan.main.procedure.terms, self._then)
        try:
            state, effects = step(self.plan, self._state, event, live)
        except CantGoOn as why:
            return Reply(
                None,
                f"This step can't be gone on with in this version of the program, because {why}: undo, give the run up "
                f"here, or go on with it in the version that it was started with, {self._version}.",
            )
        except Exception as fault:
            # A fault of the program, not of the answer. The run stays where it was, and the log has the trace.
            _log.exception("run %s, event %s", self.run, self._state.seq + 1)
            return Reply(
                None,
                "The program failed on this answer and recorded nothing "
                f"({type(fault).__name__}: {fault}). Undo, or answer otherwise; the log has more.",
            )
        try:
            body, words = codec.parted(_body(event, live, state))
        except UnicodeEncodeError:
            return Reply(None, "The answer holds half of a character, which can't be written down. Type it again.")
        try:
            told = tuple(e.finding for e in effects if isinstance(e, Raised))
            said = [f"{f.code} {f.say}" for f in told]
            self.book.append(self.run, state.seq, answer.key, body, words, sum(1 for _ in walk(state.past)), said)
        except BookUnsure as trouble:
            self._unsure = _Unsure(state, body, answer)
            return Reply(None, str(trouble), unsaved=True)
        except BookTrouble as trouble:
            return Reply(None, str(trouble), unsaved=True)
        self._go_on(state)
        return Reply(state.seq, findings=told)

    def _is(self, seq: int, answer: Answer) -> bool:
        """Whether an answer is the one that was recorded as an event, whoever gave it and when."""
        stored = self.book.events(self.run)
        there = codec.event_in(codec.body_of(stored[seq]))
        try:
            before = folded(self.plan, [codec.body_of(s) for s in stored[:seq]])
            event = admit(self.plan, before, replace(answer, answers=None))
        except AnswerRefused:
            return False
        if any(word.gone for word in stored[seq].words.values()):  # its words were taken out since
            return event.kind == there.kind
        return event._replace(at="", by="") == there._replace(at="", by="")

    def _go_on(self, state: State) -> None:
        self._state = state
        self.__dict__.pop("_view", None)

    def _find_out(self, answer: Answer) -> Reply | None:
        """After the disk failed: whether the last answer was recorded, by opening the book anew. What to reply where it
        was, so that an answer given again is not recorded twice; None where it was not.
        """
        last, self._unsure = self._unsure, None
        assert last is not None
        try:
            self.book.renew()
            stored = self.book.events(self.run)
        except BookTrouble as trouble:
            self._unsure = last
            return Reply(None, str(trouble), unsaved=True)
        if stored[-1].seq != last.state.seq or stored[-1].body != last.body:
            return None
        self._go_on(last.state)
        if answer == last.answer:
            return Reply(last.state.seq)
        return Reply(
            None,
            "The answer before this one was recorded after all, when the disk failed. Look at the step that it led to, "
            "and answer that.",
        )

    def suspend(self) -> None:
        """Note that the technician left; harmless if it can't be recorded, for nothing depends on it."""
        if not self.over:
            self.answer(Answer(suspend=True))

    def close(self) -> None:
        """Let another window have the job."""
        self.book.release(self.job_number)


def encodable(text: str) -> bool:
    """Whether a text can be written down: it holds no half of a character (a lone surrogate)."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def led(state: State) -> str:
    """Where an event led: the step in force by file and name, and its visit; `?` a stop there, `!` the end."""
    frame = state.frame
    at = "!" if state.end is not None else "?" if state.gate is not None else ""
    return f"{frame.at.key}#{frame.visits.get(frame.at.name, 0)}{at}"


def folded(plan: RunLayout, bodies: list[dict[str, Any]]) -> State:
    """The state after these stored events, advice played back. Raises `Drift` at the first that leads elsewhere."""
    return deque(states(plan, bodies), 1).pop()


def states(plan: RunLayout, bodies: list[dict[str, Any]]) -> Iterator[State]:
    """The state after each of these stored events in turn, as `folded`."""
    advice = Stored([codec.advice_in(a) for a in bodies[0].get("advice", ())], 0)
    state, _ = begin(plan, advice)
    _arrived(state, bodies[0], 0, advice)
    yield state
    for seq, body in enumerate(bodies[1:], 1):
        given = body.get("advice", ())
        advice = Stored([codec.advice_in(a) for a in given], seq)
        state, _ = step(plan, state, codec.event_in(body), advice)
        _arrived(state, body, seq, advice)
        yield state


def _arrived(state: State, body: Mapping[str, Any], seq: int, advice: Stored) -> None:
    advice.spent()
    if led(state) != body["led"]:
        raise Drift(
            f"Event {seq} leads to {led(state)} now, but led to {body['led']} when it was recorded. The record "
            "is whole, but this version of the program reads the procedure otherwise. Open it with the version "
            "that made it."
        )


def _body(event: Event, live: Live, state: State) -> dict[str, Any]:
    body = codec.event_out(event)
    body["led"] = led(state)
    if live.given:
        body["advice"] = [codec.advice_out(name, advice) for name, advice in live.given]
    if state.end is not None:
        body["outcome"] = state.end.outcome
    if state.waiting is not None:  # a note, or the technician's leaving, ends no wait: lists look at the newest event
        body["waits"] = True
    return body


def sealed_start(book: Book, number: int, body: dict[str, Any]) -> tuple[bytes, dict[str, Word]]:
    """The bytes of a first event, which seal what was said of the job's persons; the salts alone stand beside it."""
    told = {f"told {k}": Word(new_salt(), v) for k, v in book.told(number).items()}
    return codec.sealing(body, told), {name: word._replace(text=None) for name, word in told.items()}


def _started(
    plan: RunLayout, number: int, live: Live, state: State, at: str
) -> tuple[dict[str, bytes], dict[str, Any]]:
    """The texts of every file in the closure and of the kits that they use, and the body of the first event."""
    texts, files = {}, []
    kits = {f"{KITS}/{name}": kit for name, kit in plan.program.kits.items()}
    every: dict[str, Procedure | Kit] = {**plan.program.files, **kits}
    for name, file in sorted(every.items()):
        data = file.source.text.encode()
        sha256 = hashlib.sha256(data).hexdigest()
        texts[sha256] = data
        # Its name alone: a path may say whose computer it was.
        files.append({"name": name, "revision": file.revision, "sha256": sha256})
    body = {
        "kind": "started",
        "at": at,
        "version": VERSION,
        "format": plan.format,
        "main": plan.program.main,
        "title": plan.main.procedure.title,
        "files": files,
        "sha256": plan.program.sha256,
        "job_number": number,
        "job": plan.job.engineering(),
        "settings": _settings_out(plan.settings),
        "advisers": recorded(plan.program, live.registry),
        "led": led(state),
        "advice": [codec.advice_out(name, advice) for name, advice in live.given],
    }
    if state.end is not None:
        body["outcome"] = state.end.outcome
    return texts, body


def _settings_out(settings: Settings) -> dict[str, Any]:
    return {file: {n: [codec.value_out(s.value), s.origin] for n, s in row.items()} for file, row in settings.items()}
