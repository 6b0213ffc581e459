"""Hands for tests of the screen: keys as a person presses them, one after another, and as a burst, without waiting."""

from __future__ import annotations

import time
from typing import Any

from textual import events

_NAMES = {
    "*": "asterisk",
    ".": "full_stop",
    ",": "comma",
    "+": "plus",
    "-": "minus",
    " ": "space",
    "/": "slash",
    "\n": "enter",
    "#": "number_sign",
    "!": "exclamation_mark",
    "?": "question_mark",
    "[": "left_square_bracket",
    "]": "right_square_bracket",
}
_CHARS = {
    "enter": "\r",
    "plus": "+",
    "exclamation_mark": "!",
    "question_mark": "?",
    "minus": "-",
    "asterisk": "*",
    "slash": "/",
    "comma": ",",
    "full_stop": ".",
    "space": " ",
}


def key(name: str) -> events.Key:
    """A key press, as the terminal gives it: `name` is a character or Textual's name."""
    if name in _NAMES:
        return events.Key(_NAMES[name], _CHARS.get(_NAMES[name], name))
    return events.Key(name, _CHARS.get(name, name if len(name) == 1 else None))


def burst(app: Any, text: str) -> None:
    """Keys posted without waiting, as a gauge that acts as a keyboard sends them."""
    for c in text:
        app.post_message(key(c))


async def settled(pilot: Any) -> None:
    """Until what was pressed has been answered and painted."""
    for _ in range(3):
        await pilot.pause()
    end = time.monotonic() + 20
    while time.monotonic() < end and _busy(pilot.app):
        await pilot.pause(0.02)


def _busy(app: Any) -> bool:
    """The screen in front says that it needs a moment."""
    pads = [] if not app.screen.is_attached else app.screen.query("Pad")
    return any(getattr(pad, "cue", "").startswith("One moment") for pad in pads)


async def press(pilot: Any, *names: str) -> None:
    """Keys one after another, each painted before the next."""
    for name in names:
        pilot.app.post_message(key(name))
        await pilot.pause()
    await settled(pilot)
