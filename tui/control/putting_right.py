"""What is put right afterwards, as questions: an answer struck, a fact of the job corrected, a note about a step with
its photograph, who works here; pure, it changes nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from engine.session.view import TrailMark, View
from tui.control.questions import Option, Pick
from tui.drawing import phrases

#: So many answers of a preview are named, the others counted.
NAMED = 4
YES, NO, UNKNOWN = "yes", "no", "not known"
_HIDDEN = ("settings", "mixture_screw_band", "shelf")


class Known(NamedTuple):
    """A fact of the job: where it stands, what it is called, what is held true of it."""

    path: tuple[str, ...]
    called: str
    value: Any
    #: What it may be, where that is known.
    choices: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """Its value as it would be typed."""
        if self.value is None or self.value == []:
            return UNKNOWN
        if isinstance(self.value, bool):
            return YES if self.value else NO
        if isinstance(self.value, list):
            return " ".join(str(v) for v in self.value)
        return str(self.value)


def told(mark: TrailMark) -> str:
    """An answer of the trail on one line: when, which step, what was said."""
    clock = f"{mark.at[11:16]} " if len(mark.at) >= 16 else ""
    said = f": {mark.said}" if mark.said else ""
    return f"{clock}{mark.title or phrases.plain(mark.step)}{said}"


def which_answer(view: View, title: str, here: bool = False) -> Pick:
    """Which earlier answer, the newest first; `here`: the step in hand may be meant too."""
    options = [Option("the step in hand", 0, view.title)] if here else []
    options += [Option(told(mark), mark.seq) for mark in reversed(view.trail)]
    return Pick(title, tuple(options))


def strike(marks: Sequence[TrailMark]) -> Pick:
    """What would be struck, before it is; the safe way stands first and is pointed at."""
    more = f"; and {len(marks) - NAMED} more" if len(marks) > NAMED else ""
    count = f"{len(marks)} answers" if len(marks) > 1 else "1 answer"
    detail = (
        f"{count} would be struck: {'; '.join(told(m) for m in marks[:NAMED])}{more}. They stay in the record as "
        "struck. No screw is turned back: what was turned stays turned."
    )
    options = (Option("leave it as it is", False), Option(f"strike {count}", True, "then go on from there"))
    return Pick("STRIKE AN EARLIER ANSWER", options, detail=detail, hold=True)


def facts(job: Mapping[str, Any], choices: Callable[[str], tuple[str, ...]] = lambda path: ()) -> list[Known]:
    """The facts of a job that may be put right, in the order in which the job tells them; `choices`: what the one at a
    path may be, where that is known.
    """
    out: list[Known] = []
    for part, said in job.items():
        if part in _HIDDEN or not isinstance(said, Mapping):
            continue
        for name, value in said.items():
            if name in _HIDDEN or isinstance(value, Mapping) or _deep(value):
                continue
            known = phrases.NO_YES if isinstance(value, bool) else choices(f"{part}.{name}")
            out.append(Known((part, name), f"{phrases.plain(part)}: {phrases.plain(name)}", value, known))
    return out


def _deep(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(v, Mapping) for v in value)


def which_fact(known: Sequence[Known]) -> Pick:
    """Which fact of the job is wrong."""
    options = tuple(Option(fact.called, fact, fact.said) for fact in known)
    return Pick("WHICH FACT OF THE JOB IS WRONG", options)


def which_value(fact: Known) -> Pick:
    """What a fact may be; what is held true of it says so, and is pointed at."""
    options = tuple(Option(word, word, "as it stands" if word == fact.said else "") for word in fact.choices)
    at = fact.choices.index(fact.said) if fact.said in fact.choices else 0
    return Pick(fact.called.upper(), options, at)


def put(job: Mapping[str, Any], fact: Known, text: str) -> dict[str, Any]:
    """The facts of a job with one of them as it was typed."""
    said = text.strip()
    value: Any = said
    if not said or said.casefold() == UNKNOWN:
        value = None
    elif isinstance(fact.value, bool):
        value = {YES: True, NO: False}.get(said.casefold(), said)
    elif isinstance(fact.value, list):
        value = said.split()
    part, name = fact.path
    return {**job, part: {**job[part], name: value}}


def corrected(called: str, said: str, kept: int, again: int, at: str) -> Pick:
    """What a corrected fact would keep of the run, before it is written."""
    given = f"{again} answers are to be given again" if again != 1 else "1 answer is to be given again"
    detail = (
        f"{called}: {said}. {kept} events of the run don't rest on this and are kept; {given}. The run goes on at "
        f"'{at}'. The run as it was stays in the record, and no screw is turned back."
    )
    return Pick(
        "PUT A FACT OF THE JOB RIGHT",
        (Option("leave it as it is", False), Option("put it right", True, "and go on from there")),
        detail=detail,
        hold=True,
    )


def who(names: Sequence[str], now: str) -> Pick:
    """Who works here: the people of the shop, somebody else, nobody named."""
    options = [Option(name, name, "answers now" if name == now else "") for name in names]
    options += [Option("somebody else", None, "write the name"), Option("leave it open", "", "" if now else "as now")]
    return Pick("WHO WORKS HERE", tuple(options), detail="Every answer from now on carries it.")
