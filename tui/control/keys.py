"""What a key press means, whatever the terminal calls it: number pads differ, and a burst must stay in order; it
holds no text.

Under the Kitty keyboard protocol the pad sends names without characters (`decimal`, `add`); in application mode some
pads send `ESC O l` for the comma, which arrives as `alt+shift+o` and then `l`. A line feed typed before the terminal
was ready is an Enter.
"""

from __future__ import annotations

#: Names of pad keys that come without a character, and what they type.
_TYPED = {
    "decimal": ".",
    "separator": ",",
    "add": "+",
    "subtract": "-",
    "multiply": "*",
    "divide": "/",
    "equal": "=",
    "full_stop": ".",
    "comma": ",",
    "plus": "+",
    "minus": "-",
    "asterisk": "*",
    "slash": "/",
    "space": " ",
}
#: The second character of an application-mode pad key that the terminal library leaves in two halves.
_AFTER_O = {"l": ",", "X": "="}
#: Keys that arrive under another name.
_NAMED = {
    "ctrl+j": "enter",
    "ctrl+m": "enter",
    "return": "enter",
    "kp_enter": "enter",
    "ctrl+h": "backspace",
    "shift+tab": "up",
    "tab": "down",
}
#: NumLock is off: the 5 of the pad.
NO_NUMLOCK = "kp_begin"


class Keys:
    """Turns key presses into (name, character) pairs; remembers only the half of a split pad key."""

    def __init__(self) -> None:
        self._half = False

    def press(self, key: str, character: str | None) -> tuple[str, str | None] | None:
        """One press; None while the other half of a split key is awaited.

        The name of a typed character is the character.
        """
        if self._half:
            self._half = False
            if character == "E":
                return NO_NUMLOCK, None
            if character in _AFTER_O:
                typed = _AFTER_O[character]
                return typed, typed
        if key in ("alt+shift+o", "alt+O"):
            self._half = True
            return None
        if key in _NAMED:
            return _NAMED[key], None
        if key in _TYPED:
            return _TYPED[key], _TYPED[key]
        if len(key) == 1 and key.isdecimal():
            return key, key
        if character is not None and len(character) == 1 and character.isprintable():
            return character, character
        return key, None


def pasted(text: str) -> list[tuple[str, str | None]]:
    """A pasted text as presses: line breaks and tabs are Enter, as if it had been typed."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", "\n")
    return [("enter", None) if c == "\n" else (c, c) for c in text if c == "\n" or c.isprintable()]
