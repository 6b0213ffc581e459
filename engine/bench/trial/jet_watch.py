"""What became of each idle jet in a trial, and what was said of it; it follows a jet wherever it goes and judges only.

Of a wrong jet the question is whether it was taken out or told with a finding that stands; a hint is not enough. A
verdict is the last word on the barrel where the jet sat before it came out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from engine.bench.plant.engine import VirtualEngine
from engine.bench.trial.places import points_at
from engine.evidence import Advice, Finding
from engine.judgement import Judged

Fate = Literal["out", "told", "hinted", "nothing"]

#: Adviser outputs that speak of jets, in their words: small, large, right; the rest is no verdict.
_SAID = {
    "too small": "small",
    "perhaps too small": "small",
    "too large": "large",
    "perhaps too large": "large",
    "right": "right",
}
#: A finding whose code holds one of these, and none of the others, says that an idle jet is wrong.
_OF_A_JET = ("idle-jet", "pilot-jet", "jets-mixed", "jets-differ")
_NOT_OF_A_JET = ("withheld", "unusual", "not-read", "odd-one", "not-kept")
#: One that holds one of these hints at it among other things.
_HINTS = ("out-alone", "odd-one", "not-kept", "screw-far", "told-apart", "at-its-stop", "withheld")


@dataclass(slots=True)
class JetWatch:
    """Listens to what is said of the jets while a run goes on, and knows which jet sat where."""

    engine: VirtualEngine
    truth: tuple[str, ...] = ()
    said: dict[int, str] = field(default_factory=dict)
    needless: int = 0
    _seated: list[int] = field(default_factory=list)
    _stamps: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.truth = tuple(self._true(b) for b in range(self.engine.barrels))
        self._seated, self._stamps = list(self.engine.jet_ids), list(self.engine.stamps)

    def _true(self, barrel: int) -> str:
        off = self.engine.jets[barrel] * self.engine.dirt[barrel] ** 0.5 - self.engine.body.right_jet
        return "small" if off < -1.0 else "large" if off > 1.0 else "right"

    def heard(self, advice: Advice | Judged) -> None:
        """One advice on the jets: a verdict a barrel; where there is none, what was said before holds no more."""
        rows = advice.outputs.get("barrels")
        if not isinstance(rows, tuple | list) or len(rows) != self.engine.barrels:
            return
        spoilt = advice.outputs.get("verdict") == "withheld"
        for barrel, word in enumerate(rows):
            jet = self.engine.jet_ids[barrel]
            verdict = None if spoilt else _SAID.get(str(word))
            if jet >= self.engine.barrels:
                continue
            if verdict:
                self.said[jet] = verdict
            else:
                self.said.pop(jet, None)

    def fitted(self) -> None:
        """Look at the jets after a step: a change says what is thought of the jet that came out; a right one costs."""
        now, count = self.engine.jet_ids, self.engine.barrels
        for barrel, (old, new) in enumerate(zip(self._seated, now, strict=True)):
            if old == new or old in now or old >= count:
                continue
            change = self.engine.stamps[barrel] - self._stamps[barrel]
            self.needless += self.truth[old] == "right"
            self.said.setdefault(old, "small" if change > 0 else "large" if change < 0 else self.truth[old])
        self._seated, self._stamps = list(now), list(self.engine.stamps)

    def verdicts(self, standing: Iterable[Finding] = ()) -> tuple[tuple[str, str], ...]:
        """(truth, verdict) of every initial jet that feeds; the verdict may be 'withheld'. A finding that stands at the
        end is a verdict, too."""
        told = {self.engine.jet_ids[b]: says for b, says in self._told(standing).items()}
        said = told | self.said
        return tuple((self.truth[j], said.get(j, "withheld")) for j in self._judged())

    def fates(self, standing: Sequence[Finding]) -> dict[Fate, int]:
        """Of the wrong jets, what became of them by the findings that stand at the end: how many each."""
        told, hinted = self._told(standing), self._hinted(standing)
        out: dict[Fate, int] = {"out": 0, "told": 0, "hinted": 0, "nothing": 0}
        for jet in self._judged():
            if self.truth[jet] == "right":
                continue
            seat = self.engine.jet_ids.index(jet) if jet in self.engine.jet_ids else None
            if seat is None or self._true(seat) == "right":
                out["out"] += 1
            elif told.get(seat) in (self.truth[jet], "wrong"):
                out["told"] += 1
            elif seat in hinted or self.said.get(jet) == self.truth[jet]:
                out["hinted"] += 1
            else:
                out["nothing"] += 1
        return out

    def accused(self, standing: Sequence[Finding]) -> tuple[int, int]:
        """Of the barrels whose jets are right at the end: how many a standing finding calls wrong, of how many."""
        told = self._told(standing)
        sound = [b for b in self._feeding() if self._true(b) == "right"]
        return sum(b in told for b in sound), len(sound)

    def wrong_left(self) -> int:
        """Barrels that are left with a wrong jet."""
        return sum(self._true(b) != "right" for b in self._feeding())

    def _judged(self) -> list[int]:
        """The initial jets that matter at idle; none where nuts and needles meter."""
        return [] if self.engine.body.kind == "constant depression" else self._feeding()

    def _feeding(self) -> list[int]:
        return [b for b in range(self.engine.barrels) if self.engine.body.feeds[b]]

    def _told(self, findings: Iterable[Finding]) -> dict[int, str]:
        """Barrel (row index) -> small, large or wrong, by the findings that say so of an idle jet."""
        out: dict[int, str] = {}
        for finding in findings:
            code = finding.code
            if finding.severity == "note" or any(w in code for w in _NOT_OF_A_JET):
                continue
            if any(w in code for w in _OF_A_JET):
                out |= {b: self._way(finding) for b in self._feeding() if points_at(self.engine, finding, b)}
        return out

    @staticmethod
    def _way(finding: Finding) -> str:
        size: Any = finding.suggest
        if size is not None and size.old is not None and size.new != size.old:
            return "small" if size.new > size.old else "large"
        return "small" if "small" in finding.code else "large" if "large" in finding.code else "wrong"

    def _hinted(self, findings: Iterable[Finding]) -> set[int]:
        hints = [f for f in findings if any(w in f.code for w in (*_HINTS, *_OF_A_JET))]
        return {b for b in self._feeding() for f in hints if points_at(self.engine, f, b)}
