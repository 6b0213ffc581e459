"""No word of a shipped step is cut on the smallest screen: cautions, instruction, questions and choices stand there
whole, or the key that shows the rest is named. Steps are shown with every caution that their file declares for them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled

from engine.carburation.registry import shipped
from engine.procedure.build.load import load
from engine.session.view import CautionView
from tui.control import stages

FOLDER = Path(__file__).parents[2] / "procedures"
FILES = sorted(p.stem for p in FOLDER.glob("*.yaml"))


def squeezed(text: str) -> str:
    """Without blanks, frames and marks of a screen, so that a wrapped text is found whole."""
    return re.sub(r"[\s▄▆▇█▅▃▂▁]+", "", text)


def views(samples: Any, name: str) -> list[Any]:
    """A view of every step of a file that waits for an answer, with its texts as they are written."""
    program = load(FOLDER / f"{name}.yaml", (FOLDER,), shipped()).program
    assert program is not None
    file = program.files[program.main]
    out = []
    for step in file.steps.values():
        if step.silent:
            continue
        said = {key: getattr(step, key).text if getattr(step, key) else "" for key in ("do", "hear", "note", "caution")}
        these = [file.cautions[n] for n in (step.cautions or tuple(file.cautions)[:2]) if n in file.cautions]
        cautions = tuple(CautionView(c.name, c.word, c.text, False) for c in these)
        asks = tuple(
            replace(samples.SOUND, name=r.name, ask=r.ask, how=r.how, choices=r.type.choices, healthy=None)
            if r.type.choices
            else replace(samples.SPEED, name=r.name, ask=r.ask, how=r.how)
            for r in (file.readings[spec.reading] for spec in step.read)
        )
        out.append(
            samples.view(step=step.name, title=step.title, moves=(), read=asks, cautions=cautions, because=(), **said)
        )
    return out


@pytest.mark.parametrize("name", FILES)
async def test_every_word_of_every_step_is_there_or_a_key_away(samples: Any, at_run: Any, grid: Any, name: str) -> None:
    steps = views(samples, name)
    if not steps:
        pytest.skip("nothing of it waits for an answer")
    sitting = samples.FakeSitting(*steps)
    async with at_run(sitting, (80, 24)) as (pilot, screen):
        for n, v in enumerate(steps):
            sitting.at = n
            screen.enter(new=False)
            await settled(pilot)
            seen = squeezed(" ".join(grid(pilot.app)))
            for caution in v.cautions:
                assert squeezed(caution.text) in seen, (v.step, caution.name)
            if v.read:
                question = stages.question(v, screen.sofar, lambda: 0.0)
                first = v.read[0]
                assert squeezed(first.ask) in seen, (v.step, first.ask)
                assert question is screen.pad.question
                for choice in first.choices:
                    assert squeezed(choice) in seen, (v.step, choice)
            rest = [t for t in (v.do, v.caution, v.hear, v.note) if squeezed(t) not in seen]
            if rest:
                assert "PgDn" in " ".join(grid(pilot.app)), (v.step, rest)
                await press(pilot, "pagedown")
                seen += squeezed(" ".join(grid(pilot.app)))
                assert not v.caution or squeezed(v.caution) in seen, (v.step, v.caution)
