"""The one registry of what a key does: bindings, key bar, menu and help are all made from it; it does nothing itself.

Each action has an id, its keys with the number pad's names beside the plain ones, a short label, and a sentence. No
Alt, and no Ctrl but for quitting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Action:
    """One thing a key does. `keys` are Textual's names, none where the menu alone has it; `cap` is what the key bar
    shows; `screens` where it applies.

    `bar`: its place in the key bar (lower first), or None where only the menu and the help show it.
    """

    id: str
    keys: tuple[str, ...]
    cap: str
    label: str
    help: str
    screens: tuple[str, ...]
    group: str
    bar: int | None = None


ANSWER, ASK, CORRECT, LEAVE = "Answer", "Ask", "Put right", "Leave and look"
_RUN = ("run",)
_PAGES = ("run", "handover", "procedures", "help", "history", "watch")
_ALL = ("home", "run", "intake", "handover", "procedures", "help", "history", "watch")
_TYPING = ("run", "intake", "home", "procedures", "history")

_PLUS, _STAR, _SLASH = ("plus", "add"), ("asterisk", "multiply"), ("slash", "divide")

ACTIONS: tuple[Action, ...] = (
    Action(
        "answer",
        ("enter",),
        "Enter",
        "done, next",
        "Done, or the value is right: on to the next place. The last Enter of a row writes it to the job book.",
        _TYPING,
        ANSWER,
    ),
    Action(
        "move",
        ("up", "down", "left", "right"),
        "Arrows",
        "other place",
        "To another place of the row, to put it right before it is written.",
        _TYPING,
        ANSWER,
    ),
    Action(
        "understand",
        ("exclamation_mark",),
        "!",
        "understood",
        "Say that a danger is understood. Enter does not do it.",
        _RUN,
        ANSWER,
        1,
    ),
    Action(
        "take",
        _PLUS,
        "+",
        "take reading",
        "Rehearsal: take the virtual engine's readings into the fields. It answers nothing else.",
        _RUN,
        ANSWER,
        2,
    ),
    Action(
        "usual",
        _PLUS,
        "+",
        "all as it should be",
        "On a car, in a checklist: every open answer is as it should be. What can hurt is still asked by itself; Enter "
        "writes it.",
        _RUN,
        ANSWER,
        2,
    ),
    Action(
        "same",
        ("equals_sign",),
        "=",
        "same for the rest",
        "The answer in hand (or the one before it) for every empty place of the row.",
        _RUN,
        ANSWER,
        12,
    ),
    Action(
        "far",
        ("f11",),
        "F11",
        "far view",
        "Only what is to be done now, in signs to be read from two metres; the same key leads back.",
        _RUN,
        ASK,
        16,
    ),
    Action(
        "symptom",
        _STAR,
        "*",
        "it stalls, spits ...",
        "Something is wrong right now: a stall, hunting, a leak. Then the digit of what you see or hear.",
        _RUN,
        ANSWER,
        3,
    ),
    Action(
        "menu",
        _SLASH,
        "/",
        "all keys",
        "Everything that can be done here, each with a digit.",
        ("run", "handover", "procedures"),
        ASK,
        4,
    ),
    Action("how", ("f2",), "F2", "how to read", "How this reading is taken.", _RUN, ASK, 5),
    Action(
        "why",
        ("f3",),
        "F3",
        "why",
        "Why this step, and why this advice: what it used, how sure it is, what would change it.",
        _RUN,
        ASK,
        6,
    ),
    Action(
        "drawing",
        ("question_mark",),
        "?",
        "what is what",
        "The bank drawn large: which screw is which, where it stands in its band; the mixture's search; the parts.",
        _RUN,
        ASK,
        9,
    ),
    Action(
        "record",
        ("f10",),
        "F10",
        "trail, findings",
        "The steps so far, the spread by round, the findings that stand, how the screws stand.",
        _RUN,
        ASK,
        10,
    ),
    Action("note", ("f4",), "F4", "note", "Write a note into the record.", _RUN, CORRECT, 11),
    Action(
        "undo",
        ("f5",),
        "F5",
        "undo",
        "Take back the last answer. It never turns a screw back: what was turned stays turned.",
        ("run", "handover"),
        CORRECT,
        7,
    ),
    Action(
        "photo",
        (),
        "/",
        "note about a step",
        "A note about an earlier step or this one, with the file name of a photograph.",
        _RUN,
        CORRECT,
    ),
    Action(
        "strike",
        (),
        "/",
        "strike an answer",
        "An earlier answer was wrong: it is struck with all that followed. What would fall is shown first.",
        _RUN,
        CORRECT,
    ),
    Action(
        "fact",
        (),
        "/",
        "a fact of the job",
        "A fact of the job is wrong (kind of screw, counts, instruments): what of the run stays is shown first.",
        _RUN,
        CORRECT,
    ),
    Action(
        "who",
        (),
        "/",
        "who works here",
        "Whose answers these are: one of the people of the shop, or a new name.",
        _RUN,
        CORRECT,
    ),
    Action("redo", ("f6",), "F6", "redo", "Give the answer that was taken back again.", _RUN, CORRECT, 12),
    Action(
        "moved",
        ("f7",),
        "F7",
        "turned otherwise",
        "You turned a screw another way or another amount than was asked: say what was really turned.",
        _RUN,
        CORRECT,
        13,
    ),
    Action(
        "fitted",
        ("f8",),
        "F8",
        "fitted otherwise",
        "You fitted another size than was asked, or none: say which.",
        _RUN,
        CORRECT,
        14,
    ),
    Action(
        "lost",
        ("f9",),
        "F9",
        "lost count",
        "You lost count of a screw: its position counts as unknown until it is counted again.",
        _RUN,
        CORRECT,
        15,
    ),
    Action(
        "sheet",
        ("f4",),
        "F4",
        "job sheet to a file",
        "Write the job sheet, as a page to print or in another form, and say where.",
        ("handover",),
        LEAVE,
        2,
    ),
    Action(
        "recheck",
        ("f5",),
        "F5",
        "check again",
        "Check the file again now. It is checked by itself whenever it changes on disk.",
        ("procedures",),
        LEAVE,
        2,
    ),
    Action(
        "route",
        ("f6",),
        "F6",
        "route",
        "The way through the file: steps, loops, limits, ends.",
        ("procedures",),
        LEAVE,
        3,
    ),
    Action(
        "problems",
        ("f7",),
        "F7",
        "problems",
        "What is wrong in the file, where, and how to mend it.",
        ("procedures",),
        LEAVE,
        4,
    ),
    Action(
        "edit",
        ("f4",),
        "F4",
        "edit",
        "Open the file in your editor (EDITOR names it); a shipped file is copied into the shop's folder first.",
        ("procedures",),
        LEAVE,
        1,
    ),
    Action(
        "parts",
        ("f9",),
        "F9",
        "parts",
        "Show the files that others call, which are hidden in the list, or hide them again.",
        ("procedures",),
        LEAVE,
        6,
    ),
    Action(
        "dry-run",
        ("f8",),
        "F8",
        "dry run",
        "Run the file on virtual engines and see where it ends.",
        ("procedures",),
        LEAVE,
        5,
    ),
    Action(
        "file",
        ("f2",),
        "F2",
        "a job file instead",
        "Open a job file that exists already, instead of filling the form in.",
        ("intake",),
        LEAVE,
        3,
    ),
    Action(
        "as-left",
        ("f3",),
        "F3",
        "as it left",
        "The vehicle was here before: fill in engine, bank and jets as it left.",
        ("intake",),
        LEAVE,
        1,
    ),
    Action("save", ("f10",), "F10", "save as it is", "Keep the job as it is filled in so far.", ("intake",), LEAVE, 2),
    Action("faster", ("pageup",), "PgUp", "faster", "A rehearsal that plays by itself: quicker.", _RUN, ASK, 3),
    Action("slower", ("pagedown",), "PgDn", "slower", "A rehearsal that plays by itself: slower.", _RUN, ASK, 3),
    Action("up", ("pageup",), "PgUp", "scroll up", "Scroll up.", _PAGES, ASK),
    Action("down", ("pagedown",), "PgDn", "more below", "Scroll down.", _PAGES, ASK, 0),
    Action(
        "look",
        ("f12",),
        "F12",
        "glare / dim",
        "Change between the look for glare and the look for a dim shop.",
        _ALL,
        LEAVE,
        20,
    ),
    Action("help", ("f1",), "F1", "help", "This page.", _ALL[:5] + _ALL[6:], ASK, 9),
    Action(
        "leave",
        ("escape",),
        "Esc",
        "leave",
        "Back. A run stays where it stood and goes on from there; it can be given up too, with a reason.",
        _ALL,
        LEAVE,
        8,
    ),
    Action(
        "quit",
        ("ctrl+q", "ctrl+c"),
        "Ctrl+Q",
        "quit",
        "Close the program. Everything answered is written already.",
        (*_ALL, "too-small"),
        LEAVE,
    ),
)

BY_ID = {action.id: action for action in ACTIONS}

#: What is said where a key is pressed that means nothing now.
NOTHING = {
    "understand": "No danger is to be understood here.",
    "take": "No reading is taken here.",
    "usual": "There is nothing here that this key could answer.",
    "same": "There is no row here to fill.",
    "symptom": "This step offers none of that. Write a note with F4.",
    "how": "Nothing is read at this step.",
    "why": "No reason is written for this step.",
    "undo": "Nothing was answered yet.",
    "strike": "Nothing was answered yet.",
    "redo": "Nothing was taken back.",
    "moved": "No screw is to be turned at this step.",
    "fitted": "No part is to be fitted at this step.",
    "lost": "No screw is counted here.",
    "fact": "A rehearsal has no facts to put right.",
    "who": "A rehearsal is nobody's work.",
    "faster": "Nothing plays by itself here.",
    "slower": "Nothing plays by itself here.",
    "up": "All of it is on the screen.",
    "down": "All of it is on the screen.",
    "as-left": "Nothing is known of an earlier visit.",
}


def of(screen: str) -> tuple[Action, ...]:
    """The actions of one screen, in the registry's order."""
    return tuple(action for action in ACTIONS if screen in action.screens)


def shown(screen: str, allowed: Callable[[str], bool]) -> tuple[Action, ...]:
    """What the key bar offers now: the screen's actions that have a place in the bar and are allowed."""
    these = [a for a in of(screen) if a.bar is not None and allowed(a.id)]
    return tuple(sorted(these, key=lambda a: a.bar or 0))


def menu(screen: str) -> tuple[Action, ...]:
    """What the menu lists, always in one order, so that a digit of it always means the same: what has a place in the
    bar first, what is pressed without looking and what only some runs have last."""
    these = [a for a in of(screen) if a.id not in ("answer", "move", "menu", "quit", "understand")]
    last = ("same", "up", "down", "look", "usual", "take", "faster", "slower")
    late = {id: n for n, id in enumerate(last, 1)}
    return tuple(sorted(these, key=lambda a: (late.get(a.id, 0), 11 if a.bar is None else a.bar)))


def bar(
    actions: Iterable[Action], width: int, rows: int, labels: dict[str, str] | None = None
) -> list[list[tuple[str, str]]]:
    """Lay out (cap, label) pairs in at most `rows` rows of `width` cells, whole entries only.

    What has no room is left to the menu. An entry takes its cap with a blank on both sides, a blank, its label and two
    cells of air after it.
    """
    lines: list[list[tuple[str, str]]] = [[]]
    used = 0
    for action in actions:
        label = (labels or {}).get(action.id, action.label)
        need = len(action.cap) + len(label) + 5
        if used + need - 2 > width:
            if len(lines) == rows or need - 2 > width:
                continue
            lines.append([])
            used = 0
        lines[-1].append((action.cap, label))
        used += need
    return lines


def calls(screen: str, skip: Iterable[str] = ("answer", "move", "quit")) -> dict[str, str]:
    """Textual's name of each key of a screen -> the actions that it may stand for, as `bindings` has them."""
    return {key: ids for keys, ids, _ in _by_keys(screen, skip) for key in keys}


def bindings(screen: str, skip: Iterable[str] = ("answer", "move", "quit")) -> list[tuple[str, str, str]]:
    """(keys, action, description) of a screen, as Textual takes them; one key may serve several actions in turn."""
    return [(",".join(keys), f"do('{ids}')", label) for keys, ids, label in _by_keys(screen, skip)]


def _by_keys(screen: str, skip: Iterable[str]) -> list[tuple[tuple[str, ...], str, str]]:
    by_key: dict[tuple[str, ...], list[Action]] = {}
    for action in of(screen):
        if action.id not in skip and action.keys:
            by_key.setdefault(action.keys, []).append(action)
    return [(keys, " ".join(a.id for a in these), these[0].label) for keys, these in by_key.items()]
