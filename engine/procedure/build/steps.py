"""The steps of a file, from model to program; it follows names, not paths: what can be reached is the checker's."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any, cast

from engine.procedure.build.actions import fit, move, wait
from engine.procedure.build.asking import advise, finding
from engine.procedure.build.making import TRUTH, Maker, Want
from engine.procedure.build.symbols import Symbols
from engine.procedure.build.ways import call, symptom_way
from engine.procedure.language.expr import Type
from engine.procedure.language.scope import Reported
from engine.procedure.model.base import MEANT
from engine.procedure.model.leaves import is_true
from engine.procedure.model.steps import BranchPart, LimitPart, MovePart, OnStopPart, ReadPart, StepPart
from engine.procedure.program import (
    Branch,
    Call,
    End,
    Guard,
    Limit,
    MoveSpec,
    OnStop,
    Outcome,
    ReadSpec,
    Recorded,
    Step,
    Template,
)
from engine.procedure.source.problems import did_you_mean, nearest
from engine.procedure.source.spans import Span
from engine.procedure.source.tree import Map, Scalar
from engine.quantity.units import UNITS, to_base

#: Between these a hand holds an engine, in rpm [assumed: below, none runs; above, nobody holds one for a reading].
LEAST_HELD, MOST_HELD = 300, 10000


class Steps:
    """Makes the steps of one file."""

    def __init__(self, known: Symbols) -> None:
        self.known = known
        self.make: Maker = known.make
        self.part = known.part
        self.raised = {f.code for s in self.part.steps.values() for f in _findings(s)}
        for names in known.advice.values():
            adviser = known.registry.get(names[0].adviser)
            self.raised |= set(adviser.findings) if adviser else set()
        for callee in known.called.values():
            self.raised |= set(callee.raises) if callee else set()

    def all(self) -> dict[str, Step]:
        """Every step that is sound enough to be one, by name."""
        made = {str(n): self.step(n, p) for n, p in self.part.steps.items()}
        self.target(self.part.start, "start")
        return {n: s for n, s in made.items() if s is not None}

    def target(self, name: Scalar, what: str = "go") -> str:
        """A step's name that must exist."""
        steps = self.part.steps
        if name not in steps and not self.known.spoilt("steps", name):
            self.make.fault("unknown-step", name.span, f"There is no step `{name}`.", did_you_mean(name, steps))
        return str(name)

    def step(self, name: Scalar, part: StepPart) -> Step | None:
        make = self.make
        self.twice(part)
        texts: dict[str, Any] = {k: make.template(getattr(part, k)) for k in ("caution", "do", "why", "hear", "note")}
        fields: dict[str, Any] = {
            "limit": self.limit(part.limit),
            "state": {str(k): self.state(k, v) for k, v in part.state.items()},
            "hazards": tuple(str(h) for h in part.hazards),
            "cautions": self.cautions(part),
            "moves": _all(self.move(m) for m in part.moves),
            "make": self.made(part.make),
            "fit": _all(fit(self.known, f) for f in part.fit),
            "wait": wait(make, part.wait),
            "read": _all([*(self.read(r) for r in part.read), *(self.listed(r) for r in part.checklist)]),
            "keep": tuple((str(n), g) for n, t in part.keep.items() if (g := self.keep(n, t)) is not None),
            "advise": _all(advise(make, self.known, a) for a in part.advise),
            "findings": _all(finding(make, self.known, f) for f in part.findings),
            "clear": self.clear(part),
            "symptoms": self.symptoms(part),
        }
        title = make.plain(part.title) or str(name).replace("_", " ").capitalize()
        way = self.way(name, part)
        if way is None:
            return None
        return Step(
            str(name),
            title,
            name.span,
            way,
            **texts,
            **fields,
            exclusive=is_true(part.exclusive),
            phase=make.phase(part.phase),
            on_stop=self.on_stop(part.on_stop),
            record=cast(Recorded, str(part.record)) if part.record is not None else None,
            source=str(part.source or ""),
            spans=_spans(part._map),
        )

    def twice(self, part: StepPart) -> None:
        """A reading that is asked for twice at once."""
        always = [r.reading for r in (*part.read, *part.checklist) if r.when is None]
        for i, name in enumerate(always):
            if name in always[:i]:
                self.make.fault("name-used-twice", name.span, f"`{name}` is read twice here.", "Delete one.")

    def limit(self, part: LimitPart | None) -> Limit | None:
        if part is None:
            return None
        visits = int(part.visits)
        if not 1 <= visits <= 1000:
            self.make.fault("bad-number", part.visits.span, "A step is visited 1 to 1000 times.")
        return Limit(visits, self.target(part.then), part.span)

    def state(self, key: Scalar, value: Scalar) -> str | Guard:
        """The word that a state has, or the number to be held."""
        known = self.make.vocabulary.states.get(str(key))
        if known is None or known.unit is None or value in known.choices:
            return str(value)
        if re.fullmatch(r"[^\W\d]\w*", value) and self._nobody_knows(value):
            self.make.fault(
                "unknown-word",
                value.span,
                f"`{key}` is never `{value}`.",
                f"It is `1500 {known.unit}`, the name of a number, or `{known.choices[0]}`.",
            )
            return str(value)
        guard = self.make.guard(value, Want("number", UNITS[known.unit].dimension, known.unit))
        if guard is not None:
            self._held(value, guard.type, known.unit)
        return guard or str(value)

    def _nobody_knows(self, name: Scalar) -> bool:
        try:
            return self.known.type_of(name) is None and name not in self.known.screws
        except Reported:
            return False

    def _held(self, value: Scalar, kind: Type, unit: str) -> None:
        """That a speed to be held is one that an engine can be held at, as any shop may set it."""
        low, high = kind.low, kind.high
        least, most = (to_base(Fraction(v), unit) for v in (LEAST_HELD, MOST_HELD))
        if low is None or high is None:
            self.make.judge(
                "out-of-range", value.span, f"`{value}` may grow without end.", "Count it no further than can be held."
            )
            return
        said = value in self.known.settings or value in self.known.parameters
        if high < least or low > most or (said and (low < least or high > most)):
            may = "may be set to what can't be held" if low != high else "can't be held"
            self.make.judge(
                "out-of-range",
                value.span,
                f"`{value}` {may}.",
                f"A hand holds {LEAST_HELD} to {MOST_HELD} {unit}; `none` lets it go.",
            )

    def cautions(self, part: StepPart) -> tuple[str, ...]:
        for name in part.cautions:
            self._known(name, self.part.cautions, "caution")
        return tuple(str(c) for c in part.cautions)

    def _known(self, name: Scalar, table: Mapping[Any, Any], what: str) -> bool:
        if name in table:
            return table[name] is not None
        if not self.known.spoilt(f"{what}s", name):
            self.make.fault(f"unknown-{what}", name.span, f"There is no {what} `{name}`.", did_you_mean(name, table))
        return False

    def move(self, part: MovePart) -> MoveSpec | None:
        sound = self._known(part.screw, self.known.screws, "screw")
        return move(self.known, part, self.known.screws[part.screw] if sound else None)

    def made(self, name: Scalar | None) -> str | None:
        if name is None:
            return None
        advice = self.known.advice
        if name not in advice:
            self.make.fault(
                "unknown-advice", name.span, f"No step asks for an advice called `{name}`.", did_you_mean(name, advice)
            )
        else:
            adviser = self.known.registry.get(advice[name][0].adviser)
            if adviser is not None and not adviser.makes:
                self.make.judge("unknown-advice", name.span, f"`{adviser.name}` never gives moves or parts to make.")
        return str(name)

    def read(self, part: ReadPart) -> ReadSpec | None:
        when = self.make.guard(part.when, TRUTH)
        if not self._known(part.reading, self.known.readings, "reading"):
            return None
        reading = self.known.readings[part.reading]
        assert reading is not None
        return ReadSpec(str(part.reading), when, is_true(part.may_lack) or reading.may_lack, part.span)

    def listed(self, part: ReadPart) -> ReadSpec | None:
        """A reading of a checklist: it has one usual answer."""
        made = self.read(part)
        reading = self.known.readings.get(part.reading)
        if made is not None and reading is not None and not isinstance(reading.healthy, str):
            self.make.judge(
                "no-usual-answer",
                part.reading.span,
                f"`{part.reading}` has no usual answer, so it can't stand in a checklist.",
                "Give it `choices` and the `healthy` one of them, or put it under `read`.",
            )
        return None if made is None else replace(made, listed=True)

    def keep(self, name: Scalar, text: Scalar) -> Guard | None:
        guard = self.make.guard(text)
        if guard is None:
            return None
        kind = self.known.derived.kept_type(name)
        if kind is not None and (guard.type.kind, guard.type.dimension, guard.type.each) != (
            kind.kind,
            kind.dimension,
            kind.each,
        ):
            self.make.fault(
                "wrong-kind",
                text.span,
                f"`{name}` is kept as something else in another step.",
                "Give this one a name of its own.",
            )
        return guard

    def on_stop(self, part: OnStopPart | None, whole: bool = False) -> OnStop | None:
        """How a step, or the `whole` file, words the gate of a stop; a file's words show nothing of one step."""
        if part is None:
            return None
        if not whole:
            return OnStop(self.make.template(part.say), self.make.template(part.do), part.span)
        said = ((t, self.make.plain(t)) for t in (part.say, part.do))
        say, do = (None if t is None else Template(s, t.span, (s,)) for t, s in said)
        return OnStop(say, do, part.span)

    def clear(self, part: StepPart) -> tuple[str, ...]:
        for code in part.clear:  # another file of the run may have raised it; only what looks like a slip is one
            close = nearest(code, self.raised, 0.8)
            if code not in self.raised and close is not None:
                self.make.judge(
                    "unknown-finding",
                    code.span,
                    f"Nothing here ever finds `{code}`.",
                    f"Did you mean `{close}`?",
                    close,
                )
        return tuple(str(c) for c in part.clear)

    def symptoms(self, part: StepPart) -> dict[str, str | Call]:
        made: dict[str, str | Call] = {}
        for name, way in part.symptoms.items():
            if self._known(name, self.part.symptoms, "symptom"):
                found = symptom_way(self.known, way, self.target, self.limit)
                if found is not None:
                    made[str(name)] = found
        return made

    def way(self, name: Scalar, part: StepPart) -> tuple[Branch, ...] | str | Call | End | None:
        given = [k for k in ("branch", "go", "call", "end") if k in part]
        if given == ["go", "call"] and (part.each is not None or part.lost("each")):
            given = ["call"]
        spoilt = any(part.lost(k) for k in ("branch", "go", "call", "end"))
        if len(given) != 1:
            if not given and not spoilt:
                self.make.fault(
                    "no-way-on", name.span, f"Step `{name}` leads nowhere.", "Add one of `branch`, `go`, `call`, `end`."
                )
            elif given:
                self.make.fault(
                    "several-keys",
                    part.key_span(given[1]),
                    f"Step `{name}` has {' and '.join(f'`{g}`' for g in given)}; it leads on in one way.",
                    "Keep one." if "call" not in given else "`go` beside `call` needs `each`.",
                )
            return None
        self.strays(part, given[0])
        if given[0] == "branch":
            return self.branches(part.branch or [], part)
        if given[0] == "call":
            return call(self.known, part, self.target)
        if given[0] == "go":
            return self.target(part.go) if part.go is not None else None
        say = self.make.template(part.say)
        return End(cast(Outcome, str(part.end)), say or Template("", part.span, ()), part.key_span("end"))

    def strays(self, part: StepPart, way: str) -> None:
        """Keys that say nothing without another key."""
        for key, needs in (
            ("with", "call"),
            ("ends", "call"),
            ("as", "call"),
            ("each", "call"),
            ("order", "call"),
            ("by", "call"),
            ("say", "end"),
            ("exclusive", "branch"),
        ):
            if key in part and way != needs:
                self.make.fault(
                    "unknown-key",
                    part.key_span(key),
                    f"`{key}` says nothing in a step without `{needs}`.",
                    "Delete it." if key != "say" else "Write `do` or `note`.",
                )

    def branches(self, parts: list[BranchPart], part: StepPart) -> tuple[Branch, ...] | None:
        made = [self.branch(b, last=i == len(parts) - 1) for i, b in enumerate(parts)]
        if not parts and not part.lost("branch"):
            self.make.fault(
                "no-way-on", part.key_span("branch"), "The branch has no way on.", "Add `- {otherwise: step}`."
            )
        return tuple(b for b in made if b is not None)

    def branch(self, part: BranchPart, last: bool) -> Branch | None:
        make = self.make
        when = make.guard(part.when, TRUTH)
        found = _all(finding(make, self.known, f) for f in _findings_of_branch(part))
        why = make.plain(part.why)
        if part.otherwise is not None:
            if not last:
                make.fault(
                    "otherwise-not-last",
                    part.key_span("otherwise"),
                    "Ways on below `otherwise` are never tried.",
                    "Move it to the end.",
                )
            for key in ("when", "go"):
                if key in part:
                    make.fault(
                        "several-keys", part.key_span(key), f"`otherwise` stands without `{key}`.", "Delete one."
                    )
            return Branch(None, self.target(part.otherwise), why, found, part.span)
        slips = {meant for word, meant in MEANT.items() if part.lost(word)}  # told already, by what was written
        if part.lost("otherwise") or "otherwise" in slips:
            return None
        for key in ("when", "go"):
            if key not in part and not part.lost(key) and key not in slips:
                make.fault(
                    "missing-key",
                    part.head,
                    f"`{key}` is missing here.",
                    "A way on is `{when: ..., go: step}` or `{otherwise: step}`.",
                )
        go = self.target(part.go) if part.go is not None else None
        return Branch(when, go, why, found, part.span) if when is not None and go is not None else None


def _all(items: Any) -> tuple[Any, ...]:
    return tuple(i for i in items if i is not None)


def _findings_of_branch(part: BranchPart) -> list[Any]:
    return ([part.finding] if part.finding is not None else []) + list(part.findings)


def _findings(part: StepPart) -> list[Any]:
    return list(part.findings) + [f for b in part.branch or [] for f in _findings_of_branch(b)]


def _spans(part: Map) -> dict[str, Span]:
    """Where each key of a step stands, and "state.engine" for those of its state."""
    spans = {str(k): k.span for k in part}
    state = part.get("state")
    if isinstance(state, Map):
        spans |= {f"state.{k}": k.span for k in state}
    return spans
