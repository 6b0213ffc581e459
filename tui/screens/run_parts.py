"""The parts of the run screen: what is painted where, and how many rows each gets; it answers nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical

from engine.session.latest import TURNED, by_turning
from engine.session.view import View
from tui.control import actions, stages
from tui.drawing import bank, card, padview, plot, room, step_lines, turns, where
from tui.drawing.lines import Lines, titled
from tui.screens.pages import drawing, record
from tui.screens.run_keys import RunKeys
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page

#: From this width on the bank and the record stand beside the step, in so many cells at least and at most.
BESIDE, LEAST_BESIDE, MOST_BESIDE = 118, 54, 80


class RunParts(RunKeys):
    """Painting; `tui.screens.run` holds the answering."""

    HORIZONTAL_BREAKPOINTS: ClassVar = [(0, "-narrow"), (BESIDE, "-wide")]  # type: ignore[misc]
    told: set[str]
    loud: bool
    #: How large a move may be drawn: `tall` in six rows, `half` in three, `small` in words.
    figures = "tall"
    #: The title of a step of words alone is drawn large.
    headline = False

    def compose(self) -> ComposeResult:
        yield Drawn(id="where")
        yield Drawn(id="head")
        with Vertical(id="columns"):
            with Vertical(id="left"):
                with Page(id="card-box"):
                    yield Drawn(id="card")
                yield Pad(id="pad")
                yield Drawn(id="trail")
            with Vertical(id="right"):
                for part in ("spread", "bank", "plot", "trend", "findings"):
                    yield Drawn(id=part)
        yield Drawn(id="standing")
        yield KeyBar(id="keys")

    def paint(self) -> None:
        """Paint everything but the pad anew."""
        v = self.sitting.view
        with self.app.batch_update():
            self.pad.terms = dict(v.terms)
            self._show("where", lambda cells, rows: where.line(v, self._whose(), cells))
            self._show("head", lambda cells, rows: step_lines.head(v, cells))
            self._show("standing", lambda cells, rows: step_lines.standing(v, cells, self.sofar.understood))
            self._show("card", self._card)
            self._show("spread", lambda cells, rows: self._pane("the bank", self._spread(cells), cells))
            self._show("bank", lambda cells, rows: bank.draw(self._plan(), cells, rows))
            self._show("plot", self._plot)
            self._show("trend", lambda cells, rows: self._pane("by round", step_lines.trend(v, cells, rows - 1), cells))
            self._show("findings", self._findings)
            self._show("trail", lambda cells, rows: self._pane("so far", step_lines.trail(v, cells, rows - 1), cells))
            self.set_class(self.page in ("record", "drawing"), "-record")
            self.set_class(self.page == "far", "-far")
        self.fit()

    def _whose(self) -> where.Whose:
        """Whose work it is; of a rehearsal that plays by itself also what happens now."""
        whose = self.sitting.whose
        if not self.sitting.playing or self.sitting.view.end is not None or self.over:
            return whose
        return replace(whose, doing=f"now: {stages.played(self.sitting.view, self.pad.question)}")

    def offer(self) -> None:
        """Make the key bar anew, and say what happens now."""
        super().offer()
        if not self.going and self.sitting.playing is not None:
            self.query_one("#where", Drawn).redraw()
            self.fit()

    @property
    def _titles(self) -> int:
        """The rows that a pane's title takes."""
        return int(self.has_class("-wide"))

    def _pane(self, title: str, lines: Lines, cells: int) -> Lines:
        """A part with its title, where it stands beside the step; the bank has one even where no figures are."""
        wide = self.has_class("-wide") and (lines or title == "the bank")
        return titled(title, lines, cells) if wide else lines

    def _plot(self, cells: int, rows: int) -> Lines:
        v = self.sitting.view
        shown = replace(v, moves=()) if stages.made(v, self.sofar) else v
        return self._pane("the mixture", plot.plot(shown, cells, rows - self._titles), cells)

    def _findings(self, cells: int, rows: int) -> Lines:
        said = step_lines.findings(self.sitting.view, cells, rows - self._titles)
        return self._pane("what is wrong", said, cells)

    def _plan(self) -> bank.BankPlan:
        """The bank as it stands; a screw that was turned is no longer pointed at, and stands where it was turned to."""
        v = self._standing()
        hidden = bool(stages.dangers(v, self.sofar.understood))
        shown = replace(v, moves=()) if hidden or stages.made(v, self.sofar) else v
        return bank.plan(shown, self.sitting.layout, self.sitting.marks, self.sitting.cylinders)

    def _spread(self, cells: int) -> Lines:
        return step_lines.spread_line(self._standing(), cells)

    def _standing(self) -> View:
        """The step with its screws where they stand now, and what was read before they were turned as old."""
        v = self.sitting.view
        if not v.moves or v.moves_made or not stages.made(v, self.sofar):
            return v
        moves = v.moves if self.sofar.moved is None else self.sofar.moved
        rows = (replace(r, since=TURNED) if not r.since and by_turning(r.hold, r.quantity) else r for r in v.latest)
        return replace(v, screws=turns.after(v, moves), latest=tuple(rows) if moves else v.latest)

    def fit(self) -> None:
        """Share the rows of the screen: what is to be done and its answer first, the bank what is left."""
        if self.going or self.size.width < 20:
            return
        v, width = self.sitting.view, self.size.width
        self.figures, self.headline = "tall", False
        top = len(where.line(v, self._whose(), width))
        fixed = top + len(step_lines.head(v, width - 2)) + len(step_lines.standing(v, width - 2, self.sofar.understood))
        total = self.size.height - fixed - self._bar_rows(width - 2)
        if self.page == "far" or self.size.height < 24 or width < 80:
            self._fit_small(total + (fixed - top if self.page == "far" else 0), width - 2)
        elif self.has_class("-wide"):
            self._fit_beside(total, width)
        else:
            self._fit_column(total, width - 2)

    def _fit_small(self, total: int, cells: int) -> None:
        """The present step alone, its answer right under it; the far view: the answer at the foot."""
        far = self.page == "far"
        small, large = self.pad.needs(cells)
        self.headline = bool(high := self._headline(cells)) and len(self._card(cells, 60)) + high + small <= total
        # The figures of the answer are large before a hint is there.
        told = total if far else len(self._card(cells, 60, large=False)) - (self.page == "step") * self._hints(cells)
        answer = large if told + large <= total else min(small, max(2 + self.pad.said(cells), total - 2))
        self._rows("pad", answer)
        left = max(2, total - answer)
        self._rows("card-box", left if far else min(max(2, len(self._card(cells, left))), left))
        for id in ("spread", "bank", "plot", "findings"):
            self._rows(id, 0)
        if far:
            self.query_one("#card", Drawn).redraw()

    def _fit_beside(self, total: int, width: int) -> None:
        """The step on the left, the bank and the record on the right, as panes."""
        right = max(LEAST_BESIDE, min(MOST_BESIDE, width // 2))
        self.query_one("#right").styles.width = right
        cells, v = width - right - 2, self.sitting.view
        high = self._headline(cells)
        self.headline = bool(high) and len(self._card(cells, 60)) + high + self.pad.needs(cells)[1] + 3 <= total
        rooms = room.share(total, self._wishes(cells, total), self.pad.needs(cells), 0, (0, 0), **self._least(cells))
        self._rows("card-box", rooms.card)
        self._rows("pad", rooms.pad)
        inner = right - 3
        spread = self._pane("the bank", self._spread(inner), inner)
        drawn = bank.draw(self._plan(), inner, max(4, total // 2))
        wrong = len(step_lines.findings(v, inner, 60)) + 1 if v.findings else 0
        rounds = len(step_lines.trend(v, inner, 8))
        rounds += 1 if rounds else 0
        panes = room.panes(
            total,
            (len(spread), len(spread)),
            (len(drawn), len(drawn)),
            (plot.least(v, inner) + 1, plot.room(v, inner)) if v.sweeps else (0, 0),
            (min(wrong, step_lines.worst_rows(v, inner) + 1), min(wrong, 12)),
            (min(3, rounds), min(9, rounds)),
        )
        for id, rows in zip(("spread", "bank", "plot", "findings", "trend"), panes, strict=True):
            self._rows(id, rows)

    def _fit_column(self, total: int, cells: int) -> None:
        """One under the other: the step, its answer, the bank, the plot where there is room for it, what is wrong."""
        v, page = self.sitting.view, self.page in ("record", "drawing")
        spread = len(self._spread(cells))
        tall = 0 if page else bank.tallest(self._plan(), cells)
        whole, worst = len(step_lines.findings(v, cells, 60)), step_lines.worst_rows(v, cells)
        seen = (0, 0) if page else (worst, whole)
        if self.page != "step" or self.over:
            pads, least = self.pad.needs(cells), self._least(cells)
            rooms = room.share(total, self._wishes(cells, total), pads, tall, seen, **least)
            self._give(rooms, 0, 0)
            return
        cards = {size: self._core(cells, size) for size in ("tall", "half", "small")}
        pads, drawn = self.pad.needs(cells), plot.least(v, cells)
        hints = self._hints(cells)
        turning = bool(v.moves or v.fit) and not stages.made(v, self.sofar)
        for size, with_plot, with_bank, with_hints in room.TURNING if turning else room.READING:
            used = cards[size] + pads[0] + (tall + spread) * with_bank + drawn * with_plot + seen[0]
            used += hints * with_hints
            if used <= total and (drawn or not with_plot):
                break
        else:
            rooms = room.share(total, self._wishes(cells, total), pads, tall, seen, **self._least(cells))
            self._give(rooms, 0, 0)
            return
        self.figures = size
        high = self._headline(cells)
        spare = total - used + hints * (with_hints - 1)
        if high > spare and with_bank and with_hints and high <= spare + tall + spread:
            # The drawing helps nobody to answer words; ? draws it.
            with_bank, used = False, used - tall - spread
        left = total - used + hints * with_hints
        if 0 < high <= left - hints:
            self.headline, left = True, left - high
        answer = pads[1] if pads[1] - pads[0] <= left else pads[0]
        left -= answer - pads[0]
        more = min(hints, left)
        told = cards[size] + more + high * self.headline
        left -= more
        found = seen[0] + min(left, seen[1] - seen[0])
        left -= found - seen[0]
        legend = len(bank.legend(self._plan(), cells)) if with_bank else 0
        legend = legend if legend <= left else 0
        left -= legend
        plotted = min(drawn + left, plot.room(v, cells)) if with_plot else 0
        shown = tall + legend if with_bank else 0
        self._give(room.Rooms(told, answer, shown, found), spread if with_bank else 0, plotted)

    def _give(self, rooms: room.Rooms, spread: int, plotted: int) -> None:
        self._rows("card-box", rooms.card)
        self._rows("pad", rooms.pad)
        self._rows("spread", spread)
        self._rows("bank", rooms.bank)
        self._rows("plot", plotted)
        self._rows("findings", rooms.findings)

    def _core(self, cells: int, size: str) -> int:
        """The rows of the card without its hints, its move in figures of a size."""
        self.figures = size
        return len(self._card(cells, 60)) - self._hints(cells)

    def _headline(self, cells: int) -> int:
        """The rows of a headline; none where the step has another thing to be large, or another page or question is
        open."""
        v = self.sitting.view
        if self.page != "step" or self.over or self.loud or stages.dangers(v, self.sofar.understood):
            return 0
        lines = card.headline(v, cells)
        return len(lines) if len(lines) > 1 else 0

    def _hints(self, cells: int) -> int:
        """The rows of the hints; none while a danger is to be understood."""
        v = self.sitting.view
        return (
            0
            if stages.dangers(v, self.sofar.understood)
            else len(step_lines.minding(v, cells, step_lines.jets(v, self.sitting.card)))
        )

    def _least(self, cells: int) -> dict[str, int]:
        """What of the card must be seen where not even its needs have room; and what of the answer: what is said there,
        and what goes on."""
        return {"least": 4 if self.over else 99 if self.page == "step" else 6, "floor": 2 + self.pad.said(cells)}

    def _wishes(self, cells: int, total: int) -> tuple[int, int]:
        """The rows that the card needs, and those that it would like: its move large before a hint is there."""
        small, large = len(self._card(cells, 60, large=False)), len(self._card(cells, 60))
        if self.page != "step" or large == small:
            return small, large
        core = large - self._hints(cells)
        return (min(core, large) if core + self.pad.needs(cells)[0] + 5 <= total else small), max(large, small)

    def _rows(self, id: str, rows: int) -> None:
        self.query_one(f"#{id}").styles.height = rows

    def _bar_rows(self, cells: int) -> int:
        return len(actions.bar(actions.shown(self.NAME, self.allowed), cells, 2, self.labels()))

    def _show(self, id: str, draw: Callable[[int, int], Lines]) -> None:
        self.query_one(f"#{id}", Drawn).show(draw)

    def _card(self, cells: int, rows: int, large: bool = True) -> Lines:
        v = self.sitting.view
        if self.page == "how":
            return step_lines.how(v, cells)
        if self.page == "why":
            return step_lines.why(v, cells)
        if self.page == "record":
            return record(v, cells)
        if self.page == "drawing":
            return drawing(v, self._plan(), cells)
        moved, fitted = self.sofar.moved, self.sofar.fitted
        stage = card.Stage(
            made=stages.made(v, self.sofar),
            danger=bool(stages.dangers(v, self.sofar.understood)),
            otherwise=moved is not None or fitted is not None,
            seen=frozenset(self.told),
            large=large and self.figures != "small",
            tall=self.figures == "tall",
            loud=self.loud,
            headline=self.headline,
            fitted=step_lines.jets(v, self.sitting.card),
        )
        if self.page == "far":
            return card.far(v, cells, rows, stage, *padview.at_a_glance(self.pad.question))
        really = replace(v, moves=v.moves if moved is None else moved, fit=v.fit if fitted is None else fitted)
        return card.step(really, cells, rows, stage)
