"""The two looks of the screen and what each role of text looks like; it knows no widget and no procedure.

Every role is at least 7:1 against what it stands on (WCAG 2.2, success criterion 1.4.6), in both themes; a test
measures it. A role always comes with a word or a sign of its own on the screen: colour never tells alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual.theme import Theme

#: Names of the themes, as the command line and the theme key give them.
DARK, GLARE = "dim", "glare"

#: paper: the ground; tray: raised ground (pad, key bar); each further colour is a text colour on both of them.
_DIM = {
    "paper": "#0c0f12",
    "tray": "#161b20",
    "ink": "#f4efe4",
    "soft": "#bdb8ab",
    "mark": "#8fd0ff",
    "good": "#86e096",
    "amber": "#ffc44d",
    "red": "#ff9f97",
    "rule": "#b0aa9b",
    "field": "#f4efe4",
    "field-ink": "#0c0f12",
    "danger": "#8e0b12",
    "danger-ink": "#ffffff",
    "warning": "#ffb02e",
    "warning-ink": "#140c00",
    "rehearsal": "#d9c2ff",
    "rehearsal-ink": "#1a0b33",
}
_GLARE = {
    "paper": "#fffef8",
    "tray": "#f1eee2",
    "ink": "#000000",
    "soft": "#2b2924",
    "mark": "#00309a",
    "good": "#00480f",
    "amber": "#5a2a00",
    "red": "#850010",
    "rule": "#4a473f",
    "field": "#10100e",
    "field-ink": "#fffef8",
    "danger": "#850010",
    "danger-ink": "#ffffff",
    "warning": "#ffb02e",
    "warning-ink": "#140c00",
    "rehearsal": "#4b1d86",
    "rehearsal-ink": "#ffffff",
}


@dataclass(frozen=True, slots=True)
class Look:
    """How a role looks: its colour and ground by name (None: the widget's own ground), and its weight."""

    ink: str
    ground: str | None = None
    bold: bool = False
    underline: bool = False


#: Role of a piece of text -> look.
ROLES: dict[str, Look] = {
    "ink": Look("ink"),
    "soft": Look("soft"),
    "strong": Look("ink", bold=True),
    "title": Look("ink", bold=True),
    "mark": Look("mark", bold=True),
    "good": Look("good", bold=True),
    "amber": Look("amber", bold=True),
    "red": Look("red", bold=True),
    "rule": Look("rule"),
    "field": Look("ink", underline=True),
    "field-on": Look("field-ink", "field", bold=True),
    "key": Look("paper", "ink", bold=True),
    "cap": Look("ink", bold=True),
    "place": Look("ink", bold=True),
    "rehearsal": Look("rehearsal-ink", "rehearsal", bold=True),
    "danger": Look("danger-ink", "danger", bold=True),
    "warning": Look("warning-ink", "warning", bold=True),
}


def _theme(name: str, colours: dict[str, str], dark: bool, ansi: bool = False) -> Theme:
    return Theme(
        name=name,
        primary=colours["mark"],
        secondary=colours["soft"],
        accent=colours["mark"],
        warning=colours["amber"],
        error=colours["red"],
        success=colours["good"],
        foreground=colours["ink"],
        background=colours["paper"],
        surface=colours["paper"],
        panel=colours["tray"],
        dark=dark,
        text_alpha=1.0,
        ansi=ansi,
        variables={
            **colours,
            "ansi-background": colours["paper"],
            "ansi-foreground": colours["ink"],
            **dict.fromkeys(("scrollbar", "scrollbar-hover"), colours["rule"]),
            "scrollbar-active": colours["ink"],
            **dict.fromkeys(
                (
                    "scrollbar-background",
                    "scrollbar-background-hover",
                    "scrollbar-background-active",
                    "scrollbar-corner-color",
                ),
                colours["paper"],
            ),
        },
    )


THEMES = {DARK: _theme(DARK, _DIM, True), GLARE: _theme(GLARE, _GLARE, False)}
#: Without colour (NO_COLOR) the terminal's own are used: roles differ by weight, underline and reverse alone.
PLAIN = _theme("plain", dict.fromkeys(_DIM, "ansi_default"), True, ansi=True)
#: Fallback for variables that a foreign theme would lack.
DEFAULTS = _DIM


def other(name: str) -> str:
    """The theme that the theme key goes to from this one."""
    return GLARE if name == DARK else DARK
