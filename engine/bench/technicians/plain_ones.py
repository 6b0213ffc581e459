"""The two plain technicians of reference: one leaves every mixture screw in mid band, one sweeps each screw twice.

Neither judges a jet or reads a meter. An adviser that does not set mixtures better than both is not worth its turns.
"""

from __future__ import annotations

from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians.craft import Craft

#: How far he sweeps a screw out and in, turns, by its kind: about a quarter of the fuel either way [assumed].
EXCURSION = {"short taper": 0.75, "long taper": 1.25, "air screw": 1.0, "jet nut": 0.8}
#: He never goes nearer to the seat than this, turns [common practice: a quarter off its seat].
OFF_THE_SEAT = 0.25
#: From the crest that he finds back to the lean side, share of the excursion [assumed: the fit errs to the rich side].
LEAN_SIDE = 0.25
LAPS = 2
#: Where the speed is so much lower than at the base, rpm, he goes back to the base [assumed].
FELL = 25.0


class MidBand(Craft):
    """Every mixture screw in mid band after the preset, the air even, the speed right; nothing else."""

    def works(self) -> None:
        self.prepare(mid_band=True)
        self.hand_over()


class Sweeper(Craft):
    """From mid band each screw twice: base, out, in, base; the crest of a parabola in turns; a little to its lean."""

    def __init__(self, engine: VirtualEngine) -> None:
        super().__init__(engine)
        self.excursion = EXCURSION.get(engine.body.screw, 1.0)

    def works(self) -> None:
        self.prepare(mid_band=True)
        for _ in range(LAPS):
            for b in self.feeding:
                self.sweep(b)
            self.settle_air()
        self.hand_over()

    def sweep(self, row: int) -> None:
        """One screw: rich, lean and base again; where one way stalls it, the other says enough."""
        out = self.excursion
        lean = out if self.richer < 0 else min(out, max(0.2, self.stands(row) - OFF_THE_SEAT))
        rich = out if self.richer > 0 else min(out, max(0.2, self.stands(row) - OFF_THE_SEAT))
        first = self.speed() or self.speed()
        self.enrich(row, rich)
        richer = self.speed()
        self.enrich(row, -rich - lean)
        leaner = self.speed()
        self.enrich(row, lean)
        base = 0.5 * (first + (self.speed() or first))
        crest = (
            0.5 * rich if not leaner else -0.5 * lean if not richer else self.crest(lean, rich, leaner, base, richer)
        )
        goal = crest - LEAN_SIDE * out
        if self.richer > 0:
            goal = max(goal, min(0.0, OFF_THE_SEAT - self.stands(row)))
        self.enrich(row, goal)
        if (self.speed() or self.speed()) < base - FELL:  # a needle's law may bend more than that
            self.enrich(row, -goal)

    @staticmethod
    def crest(lean: float, rich: float, leaner: float, base: float, richer: float) -> float:
        """Turns richer from the base at which a parabola through three speeds peaks, at most an excursion away."""
        up, down = (richer - base) / rich, (leaner - base) / lean
        bend = (up + down) / (rich + lean)
        if bend >= 0.0:
            return rich if richer > leaner else -lean
        slope = up - bend * rich
        return max(-lean, min(rich, -slope / (2.0 * bend)))
