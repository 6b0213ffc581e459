"""What went wrong earlier is put right at the screen: an answer struck, a fact of the job corrected, a note with its
photograph, who works here; what would fall is shown before it falls."""

from __future__ import annotations

from typing import Any

import pytest
from hands import press

from tui.control import actions, putting_right
from tui.control.questions import Pick


async def to_measure(pilot: Any) -> None:
    """Through the first two steps, and the danger understood."""
    await press(pilot, "enter", "enter", "!")


async def choose(pilot: Any, screen: Any, id: str) -> None:
    """An entry of the menu, by its digit on its page."""
    listed = [a.id for a in actions.menu("run")]
    n = listed.index(id)
    await press(pilot, "slash", *["0"] * (n // 9), str(n % 9 + 1))


async def pick(pilot: Any, screen: Any, label: str) -> None:
    """The option that begins with this label, by arrows and Enter."""
    question = screen.pad.question
    assert isinstance(question, Pick)
    n = next(n for n, option in enumerate(question.options) if option.label.startswith(label))
    await press(pilot, "home", *["down"] * n, "enter")


async def test_an_earlier_answer_is_struck_after_its_fall_was_shown(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "8", "enter", "1", "enter")
        seqs = [mark.seq for mark in taps.view.trail]
        assert taps.view.step == "turn"
        await choose(pilot, screen, "strike")
        await pick(pilot, screen, putting_right.told(taps.view.trail[1]))
        assert "2 answers would be struck" in screen.pad.question.detail
        assert recorded(taps)[-1]["kind"] == "readings", "nothing is struck by looking"
        await press(pilot, "enter")
        assert "Nothing was struck" in screen.pad.cue and taps.view.step == "turn"
        await choose(pilot, screen, "strike")
        await pick(pilot, screen, putting_right.told(taps.view.trail[1]))
        await press(pilot, "2", "enter")
        assert taps.view.step == "open"
        assert [mark.seq for mark in taps.view.trail] == seqs[:1]
        assert recorded(taps)[-1]["kind"] == "strike"


async def test_a_fact_of_the_job_is_put_right_and_the_run_goes_on_from_what_rests_on_it(
    taps: Any, at_run: Any, grid: Any
) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        old = taps.session.run
        await choose(pilot, screen, "fact")
        await pick(pilot, screen, "bank: carbs")
        await press(pilot, *"nine", "enter")
        assert "carbs" in screen.pad.cue, "a sentence says what is wrong, and it is asked again"
        assert screen.pad.question.text == "nine", "what was typed took the place of what stood there, and stays"
        for _ in range(4):
            await press(pilot, "backspace")
        await press(pilot, "3", "enter")
        assert "Two" in screen.pad.cue or "carbs" in screen.pad.cue or "2" in screen.pad.cue
        await press(pilot, "escape")
        await choose(pilot, screen, "fact")
        await pick(pilot, screen, "bank: air bypass screws")
        await pick(pilot, screen, "no")
        assert "says so already" in screen.pad.cue and taps.session.run == old
        await choose(pilot, screen, "fact")
        await pick(pilot, screen, "bank: air bypass screws")
        await pick(pilot, screen, "yes")
        assert "are kept" in screen.pad.question.detail
        assert taps.session.run == old
        await press(pilot, "2", "enter")
        assert taps.session.run != old
        assert taps.session.plan.job.bank.air_bypass_screws is True
        assert "Put right" in screen.pad.cue
        assert taps.session.book.job(taps.session.job_number).bank.air_bypass_screws is True


async def test_a_note_about_a_step_names_its_photograph(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter")
        await choose(pilot, screen, "photo")
        await pick(pilot, screen, putting_right.told(taps.view.trail[0]))
        await press(pilot, *"worn", "enter", *"p1.jpg", "enter")
        said = taps.session.state.notes[-1][1]
        assert "(answer 1): worn" in said and "[photograph: p1.jpg]" in said
        assert screen.sofar.fields.texts[0] == "5", "what was half typed stays"


async def test_who_works_here_is_written_with_every_answer_from_then_on(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await choose(pilot, screen, "who")
        await pick(pilot, screen, "somebody else")
        await press(pilot, *"B. Muster", "enter")
        await press(pilot, "enter")
        assert taps.session.state.past.event.by == "B. Muster"
        assert taps.people() == ["B. Muster"]
        await choose(pilot, screen, "who")
        assert screen.pad.question.options[0].label == "B. Muster"
        await pick(pilot, screen, "leave it open")
        await press(pilot, "enter")
        assert taps.session.state.past.event.by == ""


async def test_the_menu_lists_the_same_digits_at_every_step(samples: Any, at_run: Any) -> None:
    said = []
    for view in (samples.view(), samples.zero(), samples.start()):
        async with at_run(samples.FakeSitting(view)) as (pilot, screen):
            await press(pilot, "slash")
            said.append([option.value for option in screen.pad.question.options])
            assert any("not now" in option.hint for option in screen.pad.question.options)
    assert said[0] == said[1] == said[2]


async def test_a_fact_whose_words_are_known_is_picked_from_them(taps: Any, at_run: Any) -> None:
    known = {".".join(fact.path): fact for fact in taps.facts()}
    assert known["bank.mixture_screw"].choices[-1] == "not known"
    assert "short taper" in known["bank.mixture_screw"].choices
    assert known["bank.manifold"].choices == ("separate", "shared")
    assert known["bank.carbs"].choices == () == known["engine.displacement"].choices


@pytest.mark.parametrize(("text", "value"), [("yes", True), ("", None), ("not known", None), ("maybe", "maybe")])
def test_a_fact_is_put_as_it_was_typed(text: str, value: Any) -> None:
    fact = putting_right.Known(("bank", "air_bypass_screws"), "bank: air bypass screws", False)
    assert putting_right.put({"bank": {"air_bypass_screws": False, "carbs": 2}}, fact, text) == {
        "bank": {"air_bypass_screws": value, "carbs": 2}
    }
