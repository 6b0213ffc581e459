"""The intake: a form that writes a job file, the bank drawn in plan while it is filled in; it starts no run."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal

from engine.quantity import wording
from tui.control import actions
from tui.control.entry import Cell, Fields, Refusal, read
from tui.control.job_form import Family, Form, file_name
from tui.control.questions import Line as TextLine
from tui.control.questions import Option, Pick
from tui.drawing import bank
from tui.drawing.job_lines import left_with
from tui.drawing.lines import Line, Lines, clean, cut_line, fill, wrapped
from tui.drawing.padview import shown
from tui.screens.base import AnsweringScreen
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn

if TYPE_CHECKING:
    from engine.job.model import Job
    from tui.catalogue.shop import Shop
    from tui.control.desk import Desk


TITLE: Line = (
    (" TAKE A JOB IN ", "key"),
    ("  Enter keeps what stands there, Del empties it, arrows go back.", "soft"),
)
#: Where the values stand, unless one is longer.
VALUES = 28
#: What is of this visit, and never taken over from the last one.
OF_TODAY = ("title", "vehicle.odometer")


class IntakeScreen(AnsweringScreen[Path | None]):
    """Dismissed with the job file that was written or named, or None."""

    NAME = "intake"
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("intake")]

    def __init__(self, shop: Shop, families: list[Family], desk: Desk | None = None, again: int | None = None) -> None:
        """`again`: a job whose vehicle comes back."""
        super().__init__()
        self.shop = shop
        self.desk = desk
        self.form = Form(families, shop.units)
        #: The job that the vehicle was here with last, once that is known; and the job as it left with it.
        self.before: int | None = None
        self.left: Job | None = None
        if again is not None and desk is not None:
            self._as_left(again)

    def compose(self) -> ComposeResult:
        yield Drawn(self._head, classes="bar", id="title")
        with Horizontal(id="both"):
            yield Drawn(self._list, id="list")
            yield Drawn(lambda cells, rows: bank.draw(self.form.plan(), cells, rows), id="plan")
        yield Pad(id="pad")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.ask()

    def question(self) -> Fields:
        """The form, field by field."""
        return self.form.fields

    def on_pad_typed(self, message: Pad.Typed) -> None:
        """Something was typed: what is asked and what is drawn follow it."""
        if message.question is not self.form.fields:
            return
        self.form.follow()
        if self.form.fields.row.name == "vehicle.odometer" and self.form.fields.fresh:
            self._look_back()
        self.pad.redraw()
        self.pad.terms = dict(self.form.chosen.terms)
        self._redraw()

    def _head(self, cells: int, rows: int) -> Lines:
        return [TITLE, *(wrapped(left_with(self.left), cells, "good") if self.left is not None else [])]

    def _as_left(self, job: int, keep: tuple[str, ...] = ()) -> None:
        """Begin with what the vehicle left with."""
        assert self.desk is not None
        self.left = self.desk.returning(job)
        self.form.begin(self.left, keep)

    def _look_back(self) -> None:
        """A registration was given: whether that vehicle was here before."""
        from tui.control.sitting import Trouble

        if self.desk is None or self.left is not None:
            return
        try:
            before = self.desk.newest_of(self.form.texts().get("vehicle.registration", ""))
        except Trouble:
            return
        if before is not None and before != self.before:
            self.pad.say(f"It was here before (job {before}). F3 fills in what it left with.", bell=False)
        self.before = before
        self.offer()

    def allowed(self, id: str) -> bool:
        """What it left with can be taken over only where it was here before."""
        return (self.before is not None and self.left is None) if id == "as-left" else super().allowed(id)

    def do_as_left(self) -> None:
        """Take over what the vehicle left with; what is of this visit stays as it was typed."""
        from tui.control.sitting import Trouble

        assert self.before is not None
        try:
            self._as_left(self.before, OF_TODAY)
        except Trouble as trouble:
            self.pad.say(str(trouble))
            return
        self.pad.terms = dict(self.form.chosen.terms)
        self.query_one("#title", Drawn).redraw()
        self._redraw()
        self.ask(cue="Filled in as it left. Look at each: it may have been changed since.")

    def _redraw(self) -> None:
        self.query_one("#list", Drawn).redraw()
        self.query_one("#plan", Drawn).redraw()

    def answered(self, question: Any, value: Any) -> None:
        """The last field was given."""
        self.do_save()

    def _list(self, cells: int, rows: int) -> Lines:
        """Every field with what stands in it, scrolled to the one in hand."""
        fields = self.form.fields
        first = max(0, min(fields.at - rows // 2, len(fields.rows) - rows))
        out: Lines = []
        for n in range(first, min(len(fields.rows), first + rows)):
            row, on = fields.rows[n], n == fields.at
            said = clean(understood(row.cells[0], fields.texts[n]))
            name = clean(row.ask), "strong" if on else "soft"
            empty = ("–", "soft") if row.cells[0].optional else ("needed", "amber")
            value = (said, "ink") if said else empty
            # Neither what is asked nor its answer is cut, but for one longer than the line.
            least = len(name[0]) + 2
            label = fill((("›" if on else " ", "mark"), name), max(least, min(VALUES, cells - cell_len(value[0]))))
            out.append(cut_line((*label, value), cells))
        return out

    def do_save(self) -> None:
        """Check the job, and write its file."""
        try:
            job = self.form.job()
        except Refusal as fault:
            self.over.clear()
            self.ask(cue=str(fault))
            self._redraw()
            return
        from engine.job import job_file

        name = file_name(self.form.data(), date.today().isoformat())
        try:
            self.shop.jobs.mkdir(parents=True, exist_ok=True)
            path = free(self.shop.jobs, name)
            path.write_text(job_file.write(job), encoding="utf-8", newline="\n")
        except OSError as fault:
            self.ask(
                cue=f"The job file can't be written to {self.shop.jobs}: {fault.strerror or fault}. What you "
                "filled in stays here; make room or name another folder with EVENDRAW_JOBS, then F10."
            )
            return
        self.dismiss(path)

    def do_file(self) -> None:
        """A job file that exists already, instead of the form."""

        def named(text: str) -> None:
            self.dismiss(Path(text).expanduser())

        self.lay(TextLine("PATH OF A JOB FILE"), named)

    def leave(self) -> None:
        """Esc asks before what was filled in is dropped."""
        fields = self.form.fields
        if all(text == (row.start or ("",))[0] for text, row in zip(fields.texts, fields.rows, strict=True)):
            self.dismiss(None)
            return

        def chosen(drop: bool) -> None:
            if drop:
                self.dismiss(None)
            else:
                self.ask()

        self.lay(Pick("LEAVE THE INTAKE", (Option("go on filling it in", False), Option("drop it", True))), chosen)


def understood(cell: Cell, text: str) -> str:
    """What stands in a field as it was understood, a number with its unit: `1.6 l` is 1600 cc."""
    if cell.kind != "number" or not text.strip():
        return shown(cell, text)
    try:
        value = read(cell, text)
    except Refusal:
        return text
    return wording.with_unit(value, cell.unit, cell.step) if isinstance(value, Fraction) else text


def free(folder: Path, name: str) -> Path:
    """A file of that name that does not exist yet."""
    path = folder / f"{name}.yaml"
    n = 2
    while path.exists():
        path = folder / f"{name}-{n}.yaml"
        n += 1
    return path
