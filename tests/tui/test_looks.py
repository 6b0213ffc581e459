"""Both looks can be read in their light, and nothing is told by colour alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hands import press
from rich.color import Color, ColorSystem
from rich.terminal_theme import DEFAULT_TERMINAL_THEME as SIXTEEN

from tui.styles import themes

#: WCAG 2.2, success criterion 1.4.6 (contrast, enhanced): 7:1 for text.
ENOUGH = 7.0


def luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [c / 255 for c in colour]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: tuple[int, int, int], two: tuple[int, int, int]) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    low, high = sorted((luminance(one), luminance(two)))
    return (high + 0.05) / (low + 0.05)


def rgb(name: str, theme: str) -> tuple[int, int, int]:
    return tuple(Color.parse(themes.THEMES[theme].variables[name]).get_truecolor())  # type: ignore[return-value]


def test_the_measure_is_that_of_the_standard() -> None:
    # Black on white is 21:1, and #595959 on white 7.0:1 (WCAG 2.2, the definition of contrast ratio).
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x59, 0x59, 0x59), (255, 255, 255)) == pytest.approx(7.0, abs=0.05)


@pytest.mark.parametrize("theme", themes.THEMES)
@pytest.mark.parametrize("role", themes.ROLES)
def test_every_role_is_readable_on_every_ground_that_it_stands_on(theme: str, role: str) -> None:
    look = themes.ROLES[role]
    for ground in [look.ground] if look.ground else ["paper", "tray"]:
        assert contrast(rgb(look.ink, theme), rgb(ground, theme)) >= ENOUGH


@pytest.mark.parametrize("theme", themes.THEMES)
@pytest.mark.parametrize("role", [role for role in themes.ROLES if role != "rule"])
def test_a_terminal_of_sixteen_colours_shows_every_word(theme: str, role: str) -> None:
    # 4.5:1 is what WCAG 2.2 asks at the least (1.4.3): a terminal's own sixteen allow no more everywhere.
    look = themes.ROLES[role]
    for ground in [look.ground] if look.ground else ["paper", "tray"]:
        ink, back = (
            Color.parse(themes.THEMES[theme].variables[name]).downgrade(ColorSystem.STANDARD)
            for name in (look.ink, ground)
        )
        assert contrast(tuple(ink.get_truecolor(SIXTEEN)), tuple(back.get_truecolor(SIXTEEN))) >= 4.5


def searched(samples: Any) -> Any:
    """A step whose mixture screws are searched: their plots, the crest believed, what is expected."""
    from test_search_seen import BELIEVED, Place

    return samples.view(sweeps=(BELIEVED, replace(BELIEVED, place=Place(1, 1))), read=())


def stopped(samples: Any) -> Any:
    """A stop with its finding."""
    from engine.session.view import GateView

    v = samples.view(moves=(), read=())
    return replace(v, gate=GateView("It leaks.", "Mend it.", ("mended", "ends here"), (), v.findings))


#: What is painted: a step by its sample, the keys that are pressed there, and the size.
PAINTED = [
    *(("view", ("4",), size) for size in ((60, 20), (100, 30), (160, 48))),
    ("start", (), (100, 30)),
    ("undone", (), (100, 30)),
    ("warm", (), (80, 24)),
    *((searched, keys, (160, 48)) for keys in ((), ("question_mark",), ("f10",), ("f3",), ("f11",), ("*",))),
    (stopped, (), (100, 30)),
]


def made(samples: Any, step: Any) -> Any:
    return getattr(samples, step)() if isinstance(step, str) else step(samples)


@pytest.mark.parametrize("theme", themes.THEMES)
@pytest.mark.parametrize(("step", "keys", "size"), PAINTED)
async def test_what_is_painted_is_readable(
    samples: Any, at_run: Any, theme: str, step: Any, keys: tuple[str, ...], size: tuple[int, int]
) -> None:
    async with at_run(samples.FakeSitting(made(samples, step)), size) as (pilot, _):
        pilot.app.theme = theme
        await press(pilot, *keys)
        seen = 0
        for strip in pilot.app.screen._compositor.render_strips():
            for segment in strip:
                if not segment.text.strip() or segment.style is None:
                    continue
                ink, ground = segment.style.color, segment.style.bgcolor
                assert ink is not None and ground is not None, segment
                seen += 1
                assert contrast(tuple(ink.get_truecolor()), tuple(ground.get_truecolor())) >= ENOUGH, segment
        assert seen > 30


async def test_the_look_changes_with_a_key_and_keeps_what_was_typed(samples: Any, at_run: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view())) as (pilot, screen):
        await press(pilot, "4", "f12")
        assert pilot.app.theme == themes.GLARE
        await press(pilot, "f12")
        assert pilot.app.theme == themes.DARK
        assert screen.sofar.fields.texts[0] == "4"


@pytest.mark.parametrize(("step", "keys", "size"), PAINTED)
async def test_without_colour_the_words_are_the_same_and_no_colour_is_sent(
    samples: Any,
    at_run: Any,
    grid: Any,
    monkeypatch: pytest.MonkeyPatch,
    step: Any,
    keys: tuple[str, ...],
    size: tuple[int, int],
) -> None:
    async with at_run(samples.FakeSitting(made(samples, step)), size, now=lambda: 0.0) as (pilot, _):
        await press(pilot, *keys)
        coloured = grid(pilot.app)
    monkeypatch.setenv("NO_COLOR", "1")
    async with at_run(samples.FakeSitting(made(samples, step)), size, now=lambda: 0.0) as (pilot, _):
        await press(pilot, *keys)
        assert grid(pilot.app) == coloured
        for strip in pilot.app.screen._compositor.render_strips():
            for segment in strip:
                style = segment.style
                assert style is None or (_plain(style.color) and _plain(style.bgcolor)), segment


def _plain(colour: Any) -> bool:
    """No colour: the terminal's own."""
    return colour is None or colour.is_default


def test_what_is_out_of_its_band_has_a_sign_of_its_own(samples: Any) -> None:
    from tui.drawing import bank, step_lines
    from tui.drawing.lines import text_of

    v = samples.view()
    drawn = "\n".join(text_of(bank.draw(bank.plan(v, (2, 2)), 100, 20)))
    assert "▾" in drawn and "▴" in drawn and "=" in drawn
    assert "UNEVEN" in text_of(step_lines.spread_line(v, 80))[0]
    assert "CHANGE PART" in text_of(step_lines.findings(v, 80, 3))[0]


def test_no_two_severities_and_no_two_signal_words_look_alike_without_colour() -> None:
    from tui.drawing import signs

    assert len(set(signs.SIGNS.values())) == len(signs.SIGNS) == 4
    assert set(signs.SIGNAL_ROLE) == {"danger", "warning", "caution", "notice"}
