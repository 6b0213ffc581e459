"""No word of a shipped step is cut on the smallest screen: cautions, instruction, questions and choices stand there
whole, or the key that shows the rest is named. Steps are shown with every caution that their file declares for them.

The suite looks at the steps of each file that say the most; `EVENDRAW_SWEEP=1 pytest tests/tui/test_whole_words.py`
looks at all of them.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled
from shipped import walked

from engine.carburation.registry import shipped
from engine.procedure.build.load import load
from engine.session.view import CautionView
from tui.catalogue.shop import Shop
from tui.control.desk import Desk
from tui.control.rehearsal import rehearse
from tui.drawing import padview, step_lines

FOLDER = Path(__file__).parents[2] / "procedures"
#: Into how many tests the files are parted, each with a screen of its own.
PARTS = 4
#: How many of the steps that say the most are looked at, and of those whose question or choices are the longest.
MOST_SAID, LONGEST_ASKED = 3, 2
FILES = sorted(p.stem for p in FOLDER.glob("*.yaml"))


def squeezed(text: str) -> str:
    """Without blanks, frames and marks of a screen, so that a wrapped text is found whole."""
    return re.sub(r"[\s▄▆▇█▅▃▂▁]+", "", text)


def worst(steps: Sequence[Any], most: int = MOST_SAID, asked: int = LONGEST_ASKED) -> list[Any]:
    """The steps that would be cut first, in their order: those that say the most, and that ask the longest."""

    def says(v: Any) -> int:
        texts = (v.do, v.hear, v.note, v.caution, v.why, *(c.text for c in v.cautions), *(f.say for f in v.findings))
        return sum(map(len, texts)) + 80 * len(v.moves)

    def asks(v: Any) -> int:
        return max((max(map(len, (a.ask, a.how, *a.choices))) for a in v.read), default=0)

    if os.environ.get("EVENDRAW_SWEEP"):
        return list(steps)
    first = {id(v) for by, n in ((says, most), (asks, asked)) for v in sorted(steps, key=by, reverse=True)[:n]}
    return [v for v in steps if id(v) in first]


def views(samples: Any, name: str) -> list[Any]:
    """A view of every step of a file that waits for an answer, with its texts as they are written."""
    program = load(FOLDER / f"{name}.yaml", (FOLDER,), shipped()).program
    assert program is not None
    file = program.files[program.main]
    out = []
    for step in file.steps.values():
        if step.silent:
            continue
        said = {
            key: getattr(step, key).text if getattr(step, key) else ""
            for key in ("do", "hear", "note", "caution", "why")
        }
        these = [file.cautions[n] for n in (step.cautions or tuple(file.cautions)[:2]) if n in file.cautions]
        cautions = tuple(CautionView(c.name, c.word, c.text, False) for c in these)
        asks = tuple(
            replace(samples.SOUND, name=r.name, ask=r.ask, how=r.how, choices=r.type.choices, healthy=None)
            if r.type.choices
            else replace(samples.SPEED, name=r.name, ask=r.ask, how=r.how)
            for r in (file.readings[spec.reading] for spec in step.read)
        )
        out.append(
            samples.view(
                step=f"{name}.{step.name}", title=step.title, moves=(), read=asks, cautions=cautions, because=(), **said
            )
        )
    return out


async def all_of_it(pilot: Any, grid: Any, seen: str, wanted: list[str]) -> str:
    """What is on the screen, and what the key that it names for more brings."""
    if all(squeezed(text) in seen for text in wanted):
        return seen
    assert "PgDn" in " ".join(grid(pilot.app)), [text for text in wanted if squeezed(text) not in seen]
    box, card = pilot.app.screen.query_one("#card-box"), pilot.app.screen.query_one("#card")
    await press(pilot, "pagedown")
    assert box.scroll_y > 0, "the key does what it says"
    assert box.max_scroll_y + box.size.height >= card.size.height, "and reaches the last line"
    lines = [card.render_line(y).text for y in range(card.size.height)]
    return seen + squeezed(" ".join(lines))


async def looked_at(pilot: Any, screen: Any, grid: Any, v: Any, few: bool = False) -> None:
    """Every word of a step that is on the screen: cautions and what is wrong at once, questions and choices as they
    are asked, the rest there or behind the key that it names. `few`: on a tablet's terminal a caution that stood on an
    earlier step may be behind it too."""
    seen = squeezed(" ".join(grid(pilot.app)))
    later = [c.text for c in v.cautions if few and c.name in screen.told]
    for caution in v.cautions:
        if not caution.understand and caution.text not in later:
            assert squeezed(caution.text) in seen, (v.step, caution.name)
    if v.findings and v.gate is None:
        worst = step_lines.ranked(v.findings)[0]
        assert squeezed(worst.say) in seen, (v.step, worst.say)
        if len(v.findings) > 1:
            assert "morefinding" in seen or all(squeezed(f.say) in seen for f in v.findings), v.step
    wanted = [t for t in (v.do, v.caution, v.hear, v.note, *later) if t]
    seen = await all_of_it(pilot, grid, seen, wanted)
    missing = [t for t in wanted if squeezed(t) not in seen]
    assert not missing, (v.step, missing)
    fields = screen.sofar.fields
    if fields is None or screen.pad.question is not fields:
        return
    for row in fields.rows:
        fields.go(fields.start_of(row))
        screen.pad.redraw()
        await settled(pilot)
        seen = squeezed(" ".join(grid(pilot.app)))
        if squeezed(padview.ALL_CHOICES) in seen:
            await press(pilot, "f2")
            seen = await all_of_it(pilot, grid, squeezed(" ".join(grid(pilot.app))), list(row.cells[0].choices))
            await press(pilot, "f2")
        for said in (row.ask, *row.cells[0].choices):
            assert squeezed(said) in seen, (v.step, said)


@pytest.mark.parametrize("size", [(80, 24), (60, 20)])
@pytest.mark.parametrize("part", range(PARTS))
async def test_every_word_of_every_step_is_there_or_a_key_away(
    samples: Any, at_run: Any, grid: Any, part: int, size: tuple[int, int]
) -> None:
    steps = [v for name in FILES[part::PARTS] for v in worst(views(samples, name))]
    if size == (60, 20):
        # What is wrong has no room there: F10 shows it.
        steps = [replace(v, findings=()) for v in steps]
    sitting = samples.FakeSitting(*steps)
    async with at_run(sitting, size) as (pilot, screen):
        for n, v in enumerate(steps):
            sitting.at = n
            screen.enter(new=False)
            await settled(pilot)
            await looked_at(pilot, screen, grid, v, few=size == (60, 20))


@pytest.mark.parametrize("part", range(PARTS))
async def test_every_why_and_every_way_to_read_is_whole_on_its_page(
    samples: Any, at_run: Any, grid: Any, part: int
) -> None:
    steps = [
        v
        for name in FILES[part::PARTS]
        for v in worst([v for v in views(samples, name) if v.why or any(ask.how for ask in v.read)], 1, 1)
    ]
    sitting = samples.FakeSitting(*steps)
    async with at_run(sitting, (80, 24)) as (pilot, screen):
        for n, v in enumerate(steps):
            sitting.at = n
            screen.enter(new=False)
            for key, wanted in (("f3", [v.why] if v.why else []), ("f2", [ask.how for ask in v.read if ask.how])):
                if wanted:
                    await press(pilot, key)
                    seen = await all_of_it(pilot, grid, squeezed(" ".join(grid(pilot.app))), wanted)
                    assert not [text for text in wanted if squeezed(text) not in seen], (v.step, key)
                    await press(pilot, key)


@pytest.mark.parametrize(
    ("procedure", "seed"),
    [
        ("twin-choke-sidedraught", 3),
        ("constant-depression", 3),
        ("motorcycle-bank", 3),
        ("progressive-downdraught", 3),
        ("single-carburettor", 3),
    ],
)
async def test_every_word_of_a_routine_is_there_as_it_is_walked_with_its_moves_and_findings(
    samples: Any, at_run: Any, grid: Any, procedure: str, seed: int, tmp_path: Path
) -> None:
    real = rehearse(Desk(Shop(tmp_path / "book", (FOLDER,), tmp_path)), procedure, seed=seed)
    met: dict[tuple[Any, ...], Any] = {}
    for v in walked(real):
        met.setdefault((v.step, len(v.moves), len(v.findings)), v)
    steps = worst(list(met.values()), 10, 5)
    sitting = samples.FakeSitting(*steps, layout=real.layout)
    async with at_run(sitting, (80, 24)) as (pilot, screen):
        for n, v in enumerate(steps):
            sitting.at = n
            screen.told.clear()
            screen.enter(new=False)
            await settled(pilot)
            if any(c.understand for c in v.cautions):
                seen = squeezed(" ".join(grid(pilot.app)))
                assert squeezed(next(c.text for c in v.cautions if c.understand)) in seen, v.step
            else:
                await looked_at(pilot, screen, grid, v)
