"""The one registry of keys: what is shown, bound, listed and explained comes from it and from nowhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tui.control import actions
from tui.drawing.lines import text_of
from tui.screens import home, intake, procedures, run
from tui.screens.handover import HandoverScreen
from tui.screens.pages import keys

ROOT = Path(__file__).parents[2]
SCREENS = {
    "home": home.HomeScreen,
    "run": run.RunScreen,
    "intake": intake.IntakeScreen,
    "procedures": procedures.ProceduresScreen,
    "handover": HandoverScreen,
}
PAIRS = {"plus": "add", "minus": "subtract", "asterisk": "multiply", "slash": "divide"}


def test_ids_are_unique_and_every_action_has_words() -> None:
    assert len({a.id for a in actions.ACTIONS}) == len(actions.ACTIONS)
    for action in actions.ACTIONS:
        assert action.label and action.help.endswith(".") and action.cap and action.screens


def test_no_alt_no_ctrl_but_for_quitting_and_no_letter() -> None:
    for action in actions.ACTIONS:
        for key in action.keys:
            assert "alt" not in key and (not key.startswith("ctrl") or action.id == "quit")
            assert not re.fullmatch(r"[a-z]", key), "letters belong to what is typed"


def test_every_operator_is_bound_under_its_name_on_the_number_pad_too() -> None:
    for action in actions.ACTIONS:
        for plain, pad in PAIRS.items():
            assert (plain in action.keys) == (pad in action.keys)


@pytest.mark.parametrize("name", SCREENS)
def test_every_action_of_a_screen_is_done_by_it_and_bound_to_its_key(name: str) -> None:
    screen = SCREENS[name]
    bound = {key: b.action for b in screen.BINDINGS for key in b.key.split(",")}
    for action in actions.of(name):
        if action.id in ("answer", "move", "quit"):
            continue
        assert hasattr(screen, f"do_{action.id.replace('-', '_')}"), action.id
        for key in action.keys:
            assert action.id in bound[key]


def test_a_digit_of_the_menu_always_means_the_same() -> None:
    listed = [a.id for a in actions.menu("run")]
    reached = {a.id for a in actions.of("run")} - set(listed)
    assert reached == {"answer", "move", "menu", "quit", "understand"}
    assert all(a.id in listed for a in actions.of("run") if not a.keys)


@pytest.mark.parametrize("name", [*SCREENS, "help"])
def test_one_key_never_stands_for_two_actions_that_are_both_always_there(name: str) -> None:
    shared = {ids for ids in actions.calls(name).values() if " " in ids}
    assert shared <= {"take usual", "faster up", "slower down"}


@pytest.mark.parametrize("name", SCREENS)
def test_the_help_explains_every_key_of_the_screen(name: str) -> None:
    said = "\n".join(text_of(keys(name, 100)))
    for action in actions.of(name):
        assert action.label in said
        assert " ".join(action.help.split()[:3]) in said


@pytest.mark.parametrize("width", [78, 98, 158])
def test_the_key_bar_shows_whole_entries_only_and_the_menu_always(width: int) -> None:
    # The two actions of `+` are never there together.
    rows = actions.bar(actions.shown("run", lambda id: id not in ("take", "usual", "understand")), width, 2)
    assert len(rows) <= 2
    for row in rows:
        assert sum(len(cap) + len(label) + 5 for cap, label in row) - 2 <= width
    assert {"*", "/", "Esc"} <= {cap for row in rows for cap, _ in row}


def test_no_binding_is_written_anywhere_else() -> None:
    for path in (ROOT / "tui").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for key in re.findall(r'Binding\("([^"]+)"', text):
            assert key in ("ctrl+q,ctrl+c", "f1,enter"), path
