"""States of the shipped procedures, reached on the virtual engine by its own hands: what the recorded screens and the
README's pictures are made of. `python -m tests.tui.shipped` writes them anew; a test says where they look otherwise.
"""

from __future__ import annotations

import asyncio
import html
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [p for p in (str(HERE), str(ROOT)) if p not in sys.path]

from hands import press, settled  # noqa: E402

from engine.session.view import View  # noqa: E402
from tui.catalogue.shop import Shop  # noqa: E402
from tui.control import stages  # noqa: E402
from tui.control.desk import Desk  # noqa: E402
from tui.control.entry import Fields  # noqa: E402
from tui.control.rehearsal import Rehearsal, rehearse  # noqa: E402

RECORDED = HERE / "recorded" / "shipped"
SIZES = ((80, 24), (100, 30), (160, 48))
DAY = "2031-05-04T10:00:00+00:00"
#: The engines: one a family, by its number. Their faults are drawn by the usual rates, but for the first.
TWIN, SEED, FAULT = "twin-choke-sidedraught", 7, "wrong jet"
OTHERS = (("constant-depression", 3), ("motorcycle-bank", 3), ("progressive-downdraught", 3), ("single-carburettor", 3))

When = Callable[[View], bool]


@dataclass(frozen=True)
class State:
    """A state by the first step of the walk at which it holds, and the keys that are pressed there."""

    name: str
    when: When
    keys: tuple[str, ...] = ()


def at(step: str, phase: str | None = None) -> When:
    """At a step, by its name."""
    return lambda v: v.step == step and phase in (None, v.phase)


def _danger(v: View) -> bool:
    return any(c.understand for c in v.cautions)


#: What is recorded of the full routine on twin-choke sidedraughts.
STATES = (
    State("danger", _danger),
    State("as-found-row", at("found_row")),
    State("half-typed-row", at("found_row"), (*"940", "enter", *"4.8", "enter", *"5.1", "enter", *"6")),
    State("how-to-read", at("found_row"), ("f2",)),
    State("screws-counted", at("count_screws")),
    State("which-way", at("far_off")),
    State("checklist", at("mechanical")),
    State("compression", at("compression_row")),
    State("fit-a-jet", lambda v: bool(v.fit)),
    State("every-screw", lambda v: len(v.moves) >= 4),
    State("snap-shut", at("snap")),
    State("a-wait", at("warming"), ("enter",)),
    State("speed-screw", at("turn", "preset")),
    State("air-row", at("first_row", "air")),
    State("mixture-trial", lambda v: v.sweep is not None and bool(v.moves)),
    State("mixture-found-so-far", lambda v: v.sweep is not None and len(v.trail) > 40 and bool(v.moves)),
    State("mixture-turned", lambda v: v.sweep is not None and len(v.trail) > 40 and bool(v.moves), ("enter",)),
    State("why", lambda v: v.sweep is not None and len(v.trail) > 40 and bool(v.moves), ("f3",)),
    State("far-view", lambda v: v.sweep is not None and len(v.trail) > 40 and bool(v.moves), ("f11",)),
    State("symptoms", lambda v: v.sweep is not None and bool(v.moves), ("asterisk",)),
    State("trail-and-findings", at("row", "linkage"), ("f10",)),
    State("linkage-on", at("hook_on")),
    State("off-idle", at("hold")),
    State("hand-over", at("close_up")),
)
#: And of the other families: the first screws that are turned.
TURNED = "first-turn"
#: States that are kept as pictures too, in both looks, at this size.
PICTURES = (
    "danger",
    "as-found-row",
    "checklist",
    "every-screw",
    "mixture-trial",
    "mixture-found-so-far",
    "far-view",
    "hand-over",
)
PICTURE_SIZE = (100, 30)
#: The frames of the short session.
SESSION = (
    "danger",
    "half-typed-row",
    "checklist",
    "every-screw",
    "air-row",
    "mixture-trial",
    "linkage-on",
    "hand-over",
)
#: The README's picture in text, and in colours.
README_TEXT, README_PICTURE = "mixture-found-so-far-80x24", "mixture-found-so-far-dim"


def walked(sitting: Rehearsal, most: int = 400) -> Iterator[View]:
    """Each step of a rehearsal, done by the hands of the bench after it was given."""
    for _ in range(most):
        if sitting.view.end is not None:
            return
        yield sitting.view
        if _danger(sitting.view):
            assert sitting.answer(understood=True) is None
        if sitting.view.gate is not None:
            assert sitting.answer(**sitting.at_stop()) is None
        else:
            done = sitting.work()
            kinds = ("done", "readings", "symptom", "lacking")
            answer = {k: v for k, v in done.items() if k in kinds}
            if "readings" in answer:
                answer["readings"] = _typed(sitting.view, answer["readings"])
            assert sitting.answer(**answer) is None


def _typed(view: View, readings: Any) -> dict[str, Any]:
    """Readings of the hands as they would be typed: as fine as their scale."""
    fields = Fields(tuple(stages.row_of(ask, view) for ask in view.read))
    for ask, row in zip(view.read, fields.rows, strict=True):
        fields.put(row, stages.texts(ask, readings[ask.name]))
    return fields.values()


def views(folder: Path) -> dict[str, tuple[View, Any, tuple[str, ...]]]:
    """State -> the step, whose bank it is, and the keys."""
    from engine.session import session

    session.wall_clock = lambda: DAY
    desk = Desk(Shop(folder / "jobs.book", (ROOT / "procedures",), folder / "jobs"))
    found: dict[str, tuple[View, Any, tuple[str, ...]]] = {}
    sitting = rehearse(desk, TWIN, seed=SEED, faults=(FAULT,))
    for view in walked(sitting):
        for state in STATES:
            if state.name not in found and state.when(view):
                found[state.name] = (view, sitting, state.keys)
        if len(found) == len(STATES):
            break
    missing = [s.name for s in STATES if s.name not in found]
    assert not missing, f"the walk never came by: {', '.join(missing)}"
    for procedure, seed in OTHERS:
        sitting = rehearse(desk, procedure, seed=seed)
        view = next(v for v in walked(sitting) if v.moves and not _danger(v))
        found[f"{procedure}-{TURNED}"] = (view, sitting, ())
    desk.close()
    return found


@dataclass(frozen=True)
class Painted:
    """A state as it is painted: its text, its picture, and the same as a frame of a session on its ground."""

    text: str
    picture: str
    frame: list[str]
    ground: str


async def painted(
    made: dict[str, tuple[View, Any, tuple[str, ...]]], size: tuple[int, int], theme: str
) -> dict[str, Painted]:
    """Every state at a size, by name."""
    import samples
    from conftest import painted as lines_of
    from textual.screen import Screen

    from tui.app import Evendraw
    from tui.screens.run import RunScreen

    out: dict[str, Painted] = {}
    app = Evendraw(Screen, theme)
    async with app.run_test(size=size) as pilot:
        for name, (view, sitting, keys) in made.items():
            fake = samples.FakeSitting(view, layout=sitting.layout)
            fake.marks, fake.cylinders, fake.card = sitting.marks, sitting.cylinders, sitting.card
            await app.push_screen(RunScreen(fake, now=lambda: 0.0))
            await settled(pilot)
            await press(pilot, *keys)
            ground = app.theme_variables["paper"]
            frame = _body(app.screen._compositor.render_strips(), ground)
            out[name] = Painted("\n".join(lines_of(app)) + "\n", svg(app, f"{name}, {theme}"), frame, ground)
            app.pop_screen()
            await settled(pilot)
    return out


def svg(app: Any, title: str) -> str:
    """What is on the screen of an app as a picture: one rectangle a ground, one text a run of one look."""
    strips = app.screen._compositor.render_strips()
    ground = app.theme_variables["paper"]
    return "\n".join([*_head(app.size, title, ground), *_body(strips, ground), "</svg>"]) + "\n"


def session_svg(frames: list[list[str]], size: Any, ground: str, seconds: float = 2.5) -> str:
    """Pictures one after another, round and round: a short recorded session."""
    whole, share = seconds * len(frames), 100 / len(frames)
    style = (
        f"<style>g{{visibility:hidden;animation:s {whole:.1f}s steps(1) infinite}}@keyframes s"
        f"{{0%{{visibility:visible}}{share:.3f}%{{visibility:hidden}}}}</style>"
    )
    shown = [
        line
        for n, frame in enumerate(frames)
        for line in (f'<g style="animation-delay:{n * seconds:.1f}s">', *frame, "</g>")
    ]
    return "\n".join([*_head(size, "a short session on a rehearsal", ground), style, *shown, "</svg>"]) + "\n"


#: A cell of a picture, and the rows under the last line.
WIDE, HIGH, FOOT = 8.4, 17, 6


def _head(size: Any, title: str, ground: str) -> list[str]:
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0] * WIDE:.0f} {size[1] * HIGH + FOOT}" '
        f'font-family="monospace" font-size="14"><title>{html.escape(title)}</title>',
        f'<rect width="100%" height="100%" fill="{ground}"/>',
    ]


def _body(strips: Any, ground: str) -> list[str]:
    out: list[str] = []
    wide, high = WIDE, HIGH
    for row, strip in enumerate(strips):
        at_ = 0
        for segment in strip:
            style, text = segment.style, segment.text
            back = style.bgcolor.get_truecolor().hex if style and style.bgcolor else ground
            x, width = at_ * wide, segment.cell_length * wide
            if back != ground:
                out.append(f'<rect x="{x:.1f}" y="{row * high}" width="{width:.1f}" height="{high}" fill="{back}"/>')
            if text.strip():
                lead = len(text) - len(text.lstrip())
                ink = style.color.get_truecolor().hex if style and style.color else "#888888"
                bold = ' font-weight="bold"' if style and style.bold else ""
                said = html.escape(text.strip())
                long = len(text.strip()) * wide
                out.append(
                    f'<text x="{x + lead * wide:.1f}" y="{row * high + 13}" fill="{ink}"{bold} xml:space="preserve" '
                    f'textLength="{long:.1f}">{said}</text>'
                )
            at_ += segment.cell_length
    return out


def texts(folder: Path, sizes: tuple[tuple[int, int], ...] = SIZES) -> dict[Path, str]:
    """Every recorded text of these sizes and what stands in it now."""
    return _texts(views(folder), sizes)


def _texts(made: dict[str, tuple[View, Any, tuple[str, ...]]], sizes: tuple[tuple[int, int], ...]) -> dict[Path, str]:
    return {
        RECORDED / f"{name}-{size[0]}x{size[1]}.txt": one.text
        for size in sizes
        for name, one in asyncio.run(painted(made, size, "dim")).items()
    }


def files(folder: Path) -> dict[Path, str]:
    """Every recorded file and what stands in it now."""
    made = views(folder)
    out = _texts(made, SIZES)
    shown = {name: made[name] for name in PICTURES}
    for theme in ("dim", "glare"):
        for name, one in asyncio.run(painted(shown, PICTURE_SIZE, theme)).items():
            out[RECORDED / f"{name}-{theme}.svg"] = one.picture
    frames = asyncio.run(painted({n: made[n] for n in SESSION}, PICTURE_SIZE, "dim"))
    ground = frames[SESSION[0]].ground
    out[RECORDED / "session.svg"] = session_svg([frames[n].frame for n in SESSION], PICTURE_SIZE, ground)
    return out


def main() -> int:
    """Write the recorded screens and pictures anew, and the README's picture in text; or only say what looks otherwise
    than it is recorded (`--check`), and end with 1 where anything does.
    """
    import argparse
    import re
    import tempfile

    parser = argparse.ArgumentParser(prog="python -m tests.tui.shipped", description=main.__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing")
    check = parser.parse_args().check
    with tempfile.TemporaryDirectory() as folder:
        made = files(Path(folder))
    if check:
        other = [p.name for p, text in made.items() if not p.exists() or p.read_text(encoding="utf-8") != text]
        print(f"{len(made)} files, {len(other)} look otherwise{': ' + ', '.join(other) if other else ''}")
        return 1 if other else 0
    RECORDED.mkdir(parents=True, exist_ok=True)
    for old in RECORDED.glob("*"):
        old.unlink()
    for path, text in made.items():
        path.write_text(text, encoding="utf-8", newline="\n")
    readme = ROOT / "README.md"
    picture = made[RECORDED / f"{README_TEXT}.txt"]
    said = readme.read_text(encoding="utf-8")
    said = re.sub(r"(<!-- picture -->\n```text\n).*?(```)", lambda m: m[1] + picture + m[2], said, flags=re.S)
    readme.write_text(said, encoding="utf-8", newline="\n")
    print(f"{len(made)} files written to {RECORDED}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
