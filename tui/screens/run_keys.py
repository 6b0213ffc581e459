"""What each key of the run screen does; every change goes through the session, and none turns a screw back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from engine.vocabulary.quantities import DECISION
from tui.control import putting_right, stages
from tui.control.entry import Fields
from tui.control.questions import Line, Option, Pick, Press
from tui.control.sitting import Trouble
from tui.drawing import step_lines
from tui.screens.base import AnsweringScreen

if TYPE_CHECKING:
    from tui.control.sitting import Sitting


#: An answer that leaves the step as it is.
_STAYS: dict[str, Any] = {"stays": True, "cue": "Written down."}
#: What a symptom says of a turn that stood there and was not answered.
_NOT_DONE = "You had not said that it was done: it counts as not done, and comes again."
#: What stands above the question whether to close.
CLOSE = "CLOSE THE PROGRAM"


def _named(asks: list[str]) -> str:
    """One by its name, several by their number with the first."""
    first = asks[0].rstrip("?.")
    return first if len(asks) == 1 else f"{len(asks)}, from '{first}' on"


class RunKeys(AnsweringScreen[str]):
    """The keys; `tui.screens.run` holds the painting and the answering."""

    NAME = "run"
    SCROLLS = "#card-box"
    sitting: Sitting
    sofar: stages.Sofar
    page: str
    give: Callable[..., None]
    keep_typed: Callable[[], None]
    keep: Callable[[], None]
    begin: Callable[[], None]
    paint: Callable[[], None]
    beat: Callable[[], None]
    enter: Callable[..., None]

    def allowed(self, id: str) -> bool:
        """Whether an action means anything now: what the key bar and the menu offer."""
        v = self.sitting.view
        if id in ("faster", "slower"):
            return bool(self.sitting.playing) and not self.over
        if id in ("up", "down"):
            # While it plays by itself these keys are its pace, and it shows what there is.
            return self.scrolls() and not self.allowed("faster")
        if id in ("leave", "help", "look", "quit"):
            return True
        if self.over:
            return False
        danger = bool(stages.dangers(v, self.sofar.understood))
        return {
            "understand": danger,
            "take": self.sitting.playing is not None or (not danger and self.sitting.rehearses and bool(v.read)),
            "usual": not (danger or self.sitting.rehearses) and isinstance(self.pad.question, Fields) and bool(v.usual),
            "same": isinstance(self.pad.question, Fields) and len(self.pad.question.row.cells) > 1,
            # What burns waits for nobody who reads: also before a danger is understood.
            "symptom": bool(v.symptoms) and not self.sitting.playing,
            "how": bool(v.read),
            "why": step_lines.has_why(v),
            "undo": v.can_undo,
            "strike": v.can_undo,
            "fact": not self.sitting.rehearses,
            "who": not self.sitting.rehearses,
            "redo": v.can_redo,
            "moved": bool(v.moves),
            "fitted": bool(v.fit),
            "lost": bool(v.screws),
        }.get(id, True)

    def has(self, id: str) -> bool:
        """What belongs to a rehearsal alone stands in no menu on a car, and the other way round."""
        rehearses, plays = self.sitting.rehearses, self.sitting.playing is not None
        # They stand last: no digit of the menu means another thing on a car.
        return {"take": rehearses, "usual": not rehearses, "faster": plays, "slower": plays}.get(id, True)

    def labels(self) -> dict[str, str]:
        """Esc goes back first; in a rehearsal that plays by itself `+` stops and starts it."""
        labels = {"leave": "back"} if self.over or self.page != "step" else {}
        if self.sitting.playing is not None:
            labels["take"] = "stop playing" if self.sitting.playing else "play by itself"
        return labels

    def do_understand(self) -> None:
        """The pad takes this key itself while a danger is in hand."""

    def do_take(self) -> None:
        """Rehearsal: put the virtual engine's readings into the fields, or stop and start playing by itself."""
        if self.sitting.playing is not None:
            self.play(not self.sitting.playing)
        elif (shown := self.sitting.ahead() if self.reads_now() else None) is not None:
            said = next((s.ask for s in self.sitting.view.symptoms if s.name == shown), shown)
            self.pad.say(f"Nothing can be read: {said}. Say so with * and its digit.", bell=False)
        elif not self.take():
            self.pad.say("The readings are not open yet: do what stands here first.")

    def reads_now(self) -> bool:
        """The readings are asked, or a figure would open them."""
        fields = self.sofar.fields
        question = self.pad.question
        return fields is not None and (question is fields or (isinstance(question, Press) and question.opens is fields))

    def play(self, playing: bool, pace: float | None = None) -> None:
        """Play by itself or stop, at another pace; the line at the top says so."""
        self.sitting.play(playing, pace)
        self.beat()
        self.paint()
        self.offer()

    def do_faster(self) -> None:
        """A rehearsal that plays by itself: quicker steps."""
        from tui.control.rehearsal import STEP

        self.play(True, self.sitting.pace / STEP)

    def do_slower(self) -> None:
        """A rehearsal that plays by itself: slower steps."""
        from tui.control.rehearsal import STEP

        self.play(True, self.sitting.pace * STEP)

    def take(self) -> bool:
        """Fill the fields from the virtual engine; False where nothing is asked now."""
        fields = self.sofar.fields
        if isinstance(self.pad.question, Press) and self.pad.question.opens is fields is not None:
            self.begin()
            self.paint()
            self.ask()
        if fields is None or self.pad.question is not fields:
            return False
        if self.sitting.ahead() is not None:
            self.give(readings={})
            return True
        asked = list(zip(self.sitting.view.read, fields.rows, strict=True))
        read = [(ask, row) for ask, row in asked if self.sitting.playing or ask.quantity != DECISION]
        if not read:
            self.pad.say("This is yours to decide: + takes readings only.")
            return True
        for ask, row in read:
            value, reason = self.sitting.reading(ask.name)
            fields.put(row, stages.texts(ask, value))
            if reason:
                fields.reasons[row.name] = reason
        fields.go(len(fields.flat) - 1)
        self.pad.redraw()
        self.offer()
        return True

    def do_usual(self) -> None:
        """A checklist, all as it should be: put in, and written with Enter."""
        fields = self.sofar.fields
        if fields is None:
            return
        put = stages.put_usual(self.sitting.view, fields)
        open_ = [row.ask for row in fields.rows if not all(t.strip() for t in fields.typed(row))]
        said = f"Put in as it should be: {_named(put)}." if put else "Everything that this key may answer is answered."
        more = f" Still asked: {_named(open_)}" if open_ else " Look at it, then Enter."
        self.pad.say(f"{said}{more}", bell=False)

    def do_same(self) -> None:
        """The same answer for the rest of the row."""
        fields = self.pad.question
        if isinstance(fields, Fields) and not fields.same():
            self.pad.say("Type the answer of this place first, then = for the rest.")
        else:
            self.pad.redraw()

    def do_symptom(self) -> None:
        """What is seen or heard: a list, then a digit; what to do then is said large."""
        v, sofar = self.sitting.view, self.sofar
        due = (v.moves or v.fit) and not (v.moves_made or sofar.begun or sofar.moved or sofar.fitted)
        # What was ordered and not said to be done is not done: the count of a screw hangs on it.
        rest: dict[str, Any] = {"moved": (), "fitted": (), "cue": _NOT_DONE} if due else {}
        self.lay(stages.symptoms(v), lambda name: self.give(symptom=name, **rest))

    def do_far(self) -> None:
        """Only what is to be done now, to be read from two metres; and back."""
        self.turn_to("far")

    def do_note(self) -> None:
        """A note into the record."""
        self.lay(Line("NOTE"), lambda text: self.give(note=text, stays=True, cue="Written down."))

    def do_photo(self) -> None:
        """A note about a step, with the file name of a photograph."""

        def about(seq: int) -> None:
            self.lay(Line("NOTE ABOUT THIS STEP"), lambda text: photo(seq, text))

        def photo(seq: int, text: str) -> None:
            ask = Line("FILE NAME OF THE PHOTOGRAPH", may_be_empty=True, detail="Empty: none. Keep the file yourself.")
            self.lay(ask, lambda name: self.give(note=text, about=seq or None, photo=name or None, **_STAYS))

        self.lay(putting_right.which_answer(self.sitting.view, "NOTE ABOUT WHICH STEP", here=True), about)

    def do_strike(self) -> None:
        """An earlier answer is struck with what followed; what would fall is shown first."""

        def preview(seq: int) -> None:
            self.lay(putting_right.strike(self.sitting.would_strike(seq)), lambda sure: sure_of(seq, sure))

        def sure_of(seq: int, sure: bool) -> None:
            if sure:
                self.give(strike=seq, cue="Struck. No screw was turned back: what was turned stays turned.")
            else:
                self.ask(cue="Nothing was struck.")

        self.lay(putting_right.which_answer(self.sitting.view, "STRIKE FROM WHICH ANSWER ON"), preview)

    def do_fact(self) -> None:
        """A fact of the job is put right; what of the run stays is shown first."""
        known = self.sitting.facts()

        def typed(fact: putting_right.Known, cue: str = "", text: str | None = None) -> None:
            ask: Line | Pick
            if fact.choices:
                ask = putting_right.which_value(fact)
            elif text is None:  # what is typed takes the place of what stands there
                stands = "" if fact.said == putting_right.UNKNOWN else fact.said
                detail = "What is typed takes its place. Empty: not known."
                ask = Line(fact.called.upper(), stands, may_be_empty=True, detail=detail, fresh=True)
            else:
                ask = Line(fact.called.upper(), text, may_be_empty=True, detail="Empty: not known.")
            self.lay(ask, lambda text: preview(fact, text), cue=cue)

        def preview(fact: putting_right.Known, text: str) -> None:
            said = text.strip() or putting_right.UNKNOWN
            if said.casefold() == fact.said.casefold():
                self.ask(cue=f"The job says so already ({said}): nothing was changed.")
                return
            try:
                found = self.sitting.correction(fact, text)
            except Trouble as trouble:
                typed(fact, str(trouble), text)
                return
            ask = putting_right.corrected(fact.called, said, found.kept, found.again, found.at)
            self.lay(ask, lambda sure: sure_of(found, sure))

        def sure_of(found: Any, sure: bool) -> None:
            if not sure:
                self.ask(cue="Nothing was changed.")
                return
            try:
                self.sitting.correct(found)
            except Trouble as trouble:
                self.ask(cue=str(trouble))
                return
            self.enter(cue="Put right. See above how things must stand, then answer; what was turned stays turned.")

        self.lay(putting_right.which_fact(known), typed)

    def do_who(self) -> None:
        """Whose answers these are."""

        def chosen(name: str | None) -> None:
            if name is None:
                self.lay(Line("NAME OF WHO WORKS HERE"), named)
            else:
                take(name)

        def named(name: str) -> None:
            take(" ".join(name.split()))

        def take(name: str) -> None:
            self.sitting.works(name)
            self.ask(cue=f"Answers are {name}'s from now on." if name else "Answers carry no name from now on.")

        self.lay(putting_right.who(self.sitting.people(), self.sitting.by), chosen)

    def do_undo(self) -> None:
        """Take back the last answer."""
        self.give(undo=True, cue="Taken back. That turns no screw back: what was turned stays turned.")

    def do_redo(self) -> None:
        """Give it again."""
        self.give(redo=True)

    def do_lost(self) -> None:
        """Lost count of a screw: its positions are unknown until they are counted again."""
        self.lay(stages.lost(self.sitting.view), lambda name: self.give(lost=[name]))

    def do_moved(self) -> None:
        """What was really turned: it rides with the answer of the step."""

        def keep(values: dict[str, Any]) -> None:
            self.sofar.moved = stages.really(self.sitting.view, values)
            self.sofar.moved_as = [None if v is None else str(v) for v in values.values()]
            self.keep()
            self.paint()
            self.ask(cue="That counts as turned when you go on.")

        self.lay(stages.otherwise(self.sitting.view, self.sofar), keep)

    def do_fitted(self) -> None:
        """What was really fitted: it rides with the answer of the step."""

        def keep(values: dict[str, Any]) -> None:
            self.sofar.fitted = stages.really_fitted(self.sitting.view, values)
            self.sofar.fitted_as = [None if v is None else str(v) for v in values.values()]
            self.keep()
            self.paint()
            self.ask(cue="That counts as fitted when you go on.")

        self.lay(stages.other_parts(self.sitting.view, self.sofar), keep)

    def turn_to(self, page: str) -> None:
        """Show a page on the card, or the step again."""
        self.page = "step" if self.page == page else page
        self.paint()
        if (box := self.scroller()) is not None:
            box.scroll_home(animate=False)
        self.offer()

    def do_how(self) -> None:
        """How the reading is taken."""
        self.turn_to("how")

    def do_why(self) -> None:
        """Why this step and why this advice."""
        self.turn_to("why")

    def do_drawing(self) -> None:
        """What is what: the bank drawn large, the parts and words."""
        self.turn_to("drawing")

    def do_record(self) -> None:
        """Trail, trend, findings, screws."""
        self.turn_to("record")

    def leave(self) -> None:
        """From a page back to the step, then from the run."""
        if self.page != "step":
            self.turn_to(self.page)
            return
        stay = Option("go on", "stay", "back to the step")
        leave = Option(
            "leave it here",
            "left",
            "a rehearsal is kept too: Rehearse goes on with it"
            if self.sitting.rehearses
            else "the run stays where it stands; go on with it later",
        )
        abandon = Option("give the run up", "abandon", "with a reason; it can't be gone on with")
        waits = Option("it waits for parts", "waits", "which ones: the home screen lists them")
        self.lay(Pick("LEAVE", (stay, leave, abandon, *(() if self.sitting.rehearses else (waits,)))), self._leave)

    def asks_before_quit(self) -> bool:
        """Ask before the program is closed in a rehearsal or in a half typed row; False where it may close at once, as
        where it was asked already."""
        if self.over and getattr(self.over[-1][0], "title", "") == CLOSE:
            return False
        fields = self.sofar.fields
        half = fields is not None and any(fields.texts)
        if not (half or self.sitting.rehearses):
            return False
        kept = "what is half typed comes back" if half else "it can be gone on with"
        options = (Option("stay", False, "back to the step"), Option("close the program", True, kept))
        self.lay(Pick(CLOSE, options), lambda sure: self.app.exit(0) if sure else self.ask())
        return True

    def _wait_for(self, text: str) -> None:
        """The run waits for these parts, and is left."""
        parts = [part.strip() for part in text.split(",") if part.strip()]
        try:
            problem = self.sitting.answer(wait_for_parts={"parts": parts})
        except Trouble as trouble:
            problem = str(trouble)
        if problem:
            self.ask(cue=problem)
        else:
            self.keep_typed()
            self.sitting.close()
            self.dismiss("left")

    def _leave(self, how: str) -> None:
        if how == "left":
            self.keep_typed()
            self.sitting.suspend()
            self.dismiss("left")
        elif how == "waits":
            self.lay(Line("WHICH PARTS DOES IT WAIT FOR", detail="Several: with commas between."), self._wait_for)
        elif how == "abandon":
            self.lay(
                Line("WHY IS THE RUN GIVEN UP", empty="A reason is needed: the sheet shows it."),
                lambda reason: self.give(abandon=reason),
            )
        else:
            self.ask()
