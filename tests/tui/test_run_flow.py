"""What each key of the run screen does to the run and to its record, through the real app."""

from __future__ import annotations

from fractions import Fraction as F
from typing import Any

from hands import burst, press, settled

from engine.evidence import Place


async def to_measure(pilot: Any) -> None:
    """Through the first two steps, and the danger understood."""
    await press(pilot, "enter")
    await press(pilot, "enter")
    await press(pilot, "!")


async def test_a_run_from_start_to_end_is_in_the_book_as_it_was_typed(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await to_measure(pilot)
        for key in "5,2":
            await press(pilot, key)
        await press(pilot, "enter", "5", "enter", "1", "enter")
        assert taps.view.step == "settle"
        await press(pilot, "enter")
        await press(pilot, "2", "enter")
        assert taps.view.step == "washer"
        await press(pilot, "enter")
    assert taps.view.end.outcome == "ok"
    kinds = [e["kind"] for e in recorded(taps)]
    assert kinds == ["started", "done", "done", "understood", "readings", "readings", "done"]
    assert taps.view.trail[2].said.startswith("5.2, 5 L/min")


async def test_a_danger_is_understood_by_its_own_key_once_and_then_stands_as_a_line(
    taps: Any,
    at_run: Any,
    grid: Any,
    recorded: Any,
) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter")
        await press(pilot, "enter")
        await press(pilot, "enter")
        assert "Enter does not do it" in screen.pad.cue
        assert len(recorded(taps)) == 3
        await press(pilot, "5")
        assert len(recorded(taps)) == 3
        await press(pilot, "plus")
        assert len(recorded(taps)) == 3
        await press(pilot, "!")
        assert recorded(taps)[-1]["kind"] == "understood"
        assert not any("DANGER" in line for line in grid(pilot.app))
        assert any("Understood" in line and "scald" in line for line in grid(pilot.app))
        await press(pilot, "9", "enter", "5", "enter", "1", "enter")
        assert taps.view.step == "turn"
        await press(pilot, "enter")
        assert not screen.sofar.understood
        assert screen.pad.question is screen.sofar.fields


async def test_a_symptom_is_a_key_and_a_digit_and_voids_the_half_taken_row(
    taps: Any,
    at_run: Any,
    recorded: Any,
) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "asterisk", "7")
        assert taps.view.step == "bled"
        assert recorded(taps)[-1]["symptom"] == "hammer"
        await press(pilot, "enter")
        assert taps.view.step == "measure"
        assert set(screen.sofar.fields.texts) == {""}


async def test_what_is_seen_is_told_before_a_danger_is_understood_too(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter", "enter")
        assert screen.pad.question.word, "a danger is to be understood here"
        await press(pilot, "asterisk", "7")
        assert taps.view.step == "bled"
        assert recorded(taps)[-1]["symptom"] == "hammer" and recorded(taps)[-1]["moved"] == []


async def test_a_key_that_means_nothing_here_says_so_in_a_sentence(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        for name, said in (
            ("pagedown", "All of it is on the screen."),
            ("f2", "Nothing is read at this step."),
            ("f6", "Nothing was taken back."),
        ):
            await press(pilot, name)
            assert said in screen.pad.cue, name
        await press(pilot, "slash", "f2")
        assert "Esc" in screen.pad.cue


async def test_the_menu_on_a_car_lists_nothing_that_only_a_rehearsal_has(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "slash")
        listed = [option.value for option in screen.pad.question.options]
        assert not {"faster", "slower", "take"} & set(listed) and "usual" in listed


async def test_the_pads_own_star_does_the_same_under_its_other_name(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await to_measure(pilot)
        await press(pilot, "multiply", "2")
        assert taps.view.end.outcome == "failed"


async def test_a_place_not_taken_is_recorded_with_its_reason(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "minus", "enter")
        assert "NOT TAKEN" in screen.pad.question.title
        await press(pilot, "2")
        await press(pilot, "1", "enter")
        event = recorded(taps)[-1]
        assert event["kind"] == "readings"
        assert event["lacking"] == {"flow": "not done, no tool"}
        assert taps.view.step == "settle"


async def test_a_reason_in_own_words(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await to_measure(pilot)
        await press(pilot, "minus", "enter", "7")
        await press(pilot, *"bent", "enter")
        await press(pilot, "5", "enter", "1", "enter")
        assert recorded(taps)[-1]["lacking"] == {"flow": "bent"}


async def test_undo_takes_the_answer_back_and_says_that_no_screw_turns_back(
    taps: Any,
    at_run: Any,
    recorded: Any,
    grid: Any,
) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter")
        await press(pilot, "f5")
        assert recorded(taps)[-1]["kind"] == "undo"
        assert taps.view.step == "shut"
        assert "turns no screw back" in screen.pad.cue
        assert any("ALREADY TURNED" in line for line in grid(pilot.app))
        await press(pilot, "f6")
        assert taps.view.step == "open"


async def test_what_was_really_turned_rides_with_the_answer(taps: Any, at_run: Any, recorded: Any, grid: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await press(pilot, "enter")
        await press(pilot, "f7")
        await press(pilot, *"1.5", "enter", "enter")
        assert any("REALLY TURNED" in line for line in grid(pilot.app))
        await press(pilot, "enter")
        event = recorded(taps)[-1]
        assert event["kind"] == "done"
        assert len(event["moved"]) == 2
        row = taps.view.screws[0]
        assert row.positions == (F(3, 2), F(3, 2))


async def test_a_screw_not_turned_at_all_is_said_with_a_nought(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await press(pilot, "enter")
        await press(pilot, "f7")
        await press(pilot, "0", "enter", "enter")
        await press(pilot, "enter")
        assert taps.view.screws[0].positions == (F(0), F(3, 2))


async def test_another_part_than_asked(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "5", "enter", "1", "enter")
        await press(pilot, "enter")
        await press(pilot, "2", "enter")
        await press(pilot, "f8")
        await press(pilot, "1", "3", "enter", "0", "enter")
        await press(pilot, "enter")
        assert taps.view.parts == {("washer", Place(1)): F(13)}


async def test_lost_count_makes_the_screw_unknown(taps: Any, at_run: Any, grid: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await press(pilot, "enter")
        await press(pilot, "f9", "1")
        assert taps.view.screws[0].positions == (None, None)
        assert any("?◀" in line for line in grid(pilot.app))


async def test_a_note_is_written_and_the_step_and_what_was_typed_stay(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "6")
        await press(pilot, "f4", *"tap", "space", *"2", "space", *"worn", "enter")
        assert recorded(taps)[-1]["text"] == "tap 2 worn"
        assert screen.sofar.fields.texts[:2] == ["5", "6"]
        assert taps.view.step == "measure"


async def test_how_and_why_show_on_the_card_and_go_away_again(taps: Any, at_run: Any, grid: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter")
        assert taps.view.step == "open"
        await press(pilot, "f3")
        assert screen.page == "why"
        assert any("Two turns give enough to read." in line for line in grid(pilot.app))
        await press(pilot, "escape")
        assert screen.page == "step"
        await press(pilot, "enter", "!", "f2")
        assert any("Cup under it, read in [mbar]." in line for line in grid(pilot.app))
        await press(pilot, "f2")
        assert any("Read both taps." in line for line in grid(pilot.app))
        assert screen.page == "step"


async def test_an_answer_closes_the_page_that_was_looked_at(samples: Any, at_run: Any) -> None:
    v = samples.view(wait=None)
    async with at_run(samples.FakeSitting(v, samples.view(step="next"))) as (pilot, screen):
        await press(pilot, "f3")
        assert screen.page == "why"
        await press(pilot, "enter")
        assert screen.page == "step" and screen.pad.question is screen.sofar.fields


async def test_the_menu_reaches_everything_from_the_number_pad(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter")
        await press(pilot, "slash")
        labels = [o.label for o in screen.pad.question.options]
        assert {"undo", "note", "lost count", "turned otherwise", "leave", "help", "why"} <= set(labels)
        await press(pilot, str(labels.index("undo") + 1))
        assert taps.view.step == "shut"


async def test_leaving_keeps_the_run_where_it_stood(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, _):
        await press(pilot, "enter")
        await press(pilot, "escape", "2")
        assert recorded(taps)[-1]["kind"] == "suspended"
    assert taps.view.step == "open"


async def test_giving_a_run_up_needs_a_reason(taps: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "escape", "3", "enter")
        assert "reason is needed" in screen.pad.cue
        await press(pilot, *"sold", "enter")
        assert recorded(taps)[-1]["kind"] == "abandoned"
    assert taps.view.end.outcome == "stopped"


async def test_a_wait_counts_and_is_answered_when_it_is_over(taps: Any, at_run: Any) -> None:
    clock = [0.0]
    async with at_run(taps, now=lambda: clock[0]) as (pilot, screen):
        await to_measure(pilot)
        await press(pilot, "5", "enter", "5", "enter", "1", "enter")
        await press(pilot, "1")
        assert "Not yet: 1:00" in screen.pad.cue
        clock[0] = 61.0
        screen.pad.tick()
        await settled(pilot)
        assert screen.pad.question is screen.sofar.fields


async def test_a_refused_answer_leaves_everything_as_it_was(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
    sitting.refuse = "This run is over [b]."
    async with at_run(sitting) as (pilot, screen):
        burst(pilot.app, "4.8\n5\n5\n5\n950\n")
        await settled(pilot)
        assert screen.pad.cue == "This run is over [b]."
        assert screen.sofar.fields.texts == ["4.8", "5", "5", "5", "950"]
        sitting.refuse = None
        await press(pilot, "enter")
        assert sitting.given[-1]["readings"]["speed"] == 950


async def test_a_long_danger_is_shown_to_its_last_word(samples: Any, at_run: Any, grid: Any) -> None:
    from dataclasses import replace

    text = "Exhaust gas kills. " * 30 + "The last word."
    sitting = samples.FakeSitting(replace(samples.start(), cautions=(replace(samples.FUMES, text=text),)))
    async with at_run(sitting) as (pilot, _):
        assert "The last word." in " ".join(" ".join(grid(pilot.app)).split())
        assert any("I have understood" in line for line in grid(pilot.app))
