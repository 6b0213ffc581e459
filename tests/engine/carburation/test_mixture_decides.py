"""What the search for the mixture decides by: each figure on either side of which a technician is told another thing.

The search is stood in for by what a decision reads of it, so that each stands alone.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from engine.carburation.estimation import laws
from engine.carburation.policy import jet_reset
from engine.carburation.policy import mixture_moves as policy
from engine.evidence import Place

#: A screw that stands where it belongs, is known and answers, and was tried three times.
SET = policy.Choice(u=0, at=1.0, best=1.0, here=0.9, there=0.9, near=0.9, right=0.9, doubt=0.02, trials=3, dead=0.0)
#: One that has told nothing so far.
SILENT = replace(SET, dead=0.6)


def shot(speed: float | None = 900.0, stalled: bool = False, at: tuple[float, ...] = (1.0, 1.0)) -> Any:
    return SimpleNamespace(speed=speed, stalled=stalled, at=at, opened=None)


def found(**told: Any) -> Any:
    """A search of two screws, with what a decision reads of it."""
    rows = told.pop("rows", ((1.0,), (1.0,)))
    noise = SimpleNamespace(scatter=2.0, step=0.0, wander=0.0)
    known = {
        "shots": (),
        "units": ((0,), (1,)),
        "idle": 900.0,
        "whole": 4.0,
        "noise": noise,
        "visited": lambda u: rows[u],
    }
    return SimpleNamespace(**known | told)


class TestMoreIsLearned:
    """Whether a screw is tried once more."""

    @pytest.mark.parametrize(("doubt", "more"), [(0.025, False), (0.035, True)])
    def test_until_its_mixture_is_known_to_three_parts_in_a_hundred(self, doubt: float, more: bool) -> None:
        assert policy.unknown(replace(SET, doubt=doubt)) is more

    @pytest.mark.parametrize(("trials", "more"), [(10, True), (11, False), (12, False)])
    def test_eleven_times_at_most(self, trials: int, more: bool) -> None:
        assert policy.unknown(replace(SET, doubt=0.2, trials=trials)) is more

    @pytest.mark.parametrize(("trials", "more"), [(7, True), (8, False), (9, False)])
    def test_eight_times_where_it_tells_nothing(self, trials: int, more: bool) -> None:
        assert policy.unknown(replace(SILENT, trials=trials)) is more

    @pytest.mark.parametrize(("dead", "more"), [(0.25, False), (0.35, True)])
    def test_of_one_that_seems_known_while_it_is_doubted_that_it_answers(self, dead: float, more: bool) -> None:
        assert policy.unknown(replace(SET, dead=dead)) is more

    @pytest.mark.parametrize(("trials", "more"), [(7, True), (8, False)])
    def test_with_all_screws_together_seven_and_a_half_times_for_each(
        self, monkeypatch: pytest.MonkeyPatch, trials: int, more: bool
    ) -> None:
        monkeypatch.setattr(policy, "best_trial", lambda job, inputs, s, view, c: policy.Trial(c.u, 1.5, 0.5))
        rows = [replace(SET, u=u, doubt=0.2, trials=trials) for u in range(4)]
        nothing: Any = None
        assert (policy.next_trial(nothing, nothing, found(), nothing, rows) is not None) is more


class TestAScrewGoesBack:
    @pytest.mark.parametrize(("far", "goes"), [(0.25, False), (0.4, True)])
    def test_that_told_nothing_from_a_third_of_a_turn_off(self, far: float, goes: bool) -> None:
        assert policy.goes_back(found(), replace(SILENT, at=1.0 + far)) is goes


class TestAScrewBelongs:
    @pytest.mark.parametrize(("worth", "place"), [(0.04, 3.0), (0.06, 1.0)])
    def test_where_it_is_worth_most_unless_no_place_is_worth_one_in_twenty(
        self, monkeypatch: pytest.MonkeyPatch, worth: float, place: float
    ) -> None:
        monkeypatch.setattr(policy, "_where", lambda mix, u, x, low, high: 3.0)  # beyond an end
        worths = lambda u, places: [worth if p == 1.0 else 0.0 for p in places]  # noqa: E731
        mix = SimpleNamespace(silent=lambda u, low, high: 0.0, worths=worths)
        view: Any = SimpleNamespace(step=Fraction(1, 16))
        assert policy.best_place(found(mix=mix), view, 0, (0.5, 4.0)) == place


class TestNothingAnswers:
    """Two screws were turned far, and the speed stood as if nothing were turned."""

    @staticmethod
    def said(monkeypatch: pytest.MonkeyPatch, speeds: list[float], share: float = 0.7) -> bool:
        monkeypatch.setattr(policy, "reach", lambda view, s, inputs: (0.0, 4.0))
        rows = ((1.0, 1.0 + 4.0 * share),) * 2
        nothing: Any = None
        units = [replace(SILENT, u=u) for u in range(2)]
        s = found(rows=rows, shots=tuple(shot(v) for v in speeds))
        return len(policy.nothing_answers(s, nothing, nothing, units)) == 2

    @pytest.mark.parametrize(("readings", "so"), [(5, False), (6, True)])
    def test_is_said_after_six_readings(self, monkeypatch: pytest.MonkeyPatch, readings: int, so: bool) -> None:
        assert self.said(monkeypatch, [900.0] * readings) is so

    @pytest.mark.parametrize(("apart", "so"), [(5.0, True), (7.0, False)])
    def test_is_said_where_they_lie_within_three_scatters(
        self, monkeypatch: pytest.MonkeyPatch, apart: float, so: bool
    ) -> None:
        # A reading scatters by 2 rpm.
        assert self.said(monkeypatch, [900.0] * 5 + [900.0 + apart]) is so

    @pytest.mark.parametrize(("share", "so"), [(0.55, False), (0.65, True)])
    def test_is_said_after_turns_through_six_tenths_of_the_reach(
        self, monkeypatch: pytest.MonkeyPatch, share: float, so: bool
    ) -> None:
        assert self.said(monkeypatch, [900.0] * 6, share) is so


class TestTheEngineIsKeptRunning:
    @pytest.mark.parametrize("now", [800.0, 900.0, 1000.0])
    def test_it_is_taken_to_stall_below_sixty_two_hundredths_of_its_idle_speed(self, now: float) -> None:
        s = found()
        left = 1.0 + policy._stalls_from(s, now) / s.whole
        assert now * left**laws.ELASTICITY == pytest.approx(0.62 * 900.0)

    @pytest.mark.parametrize(("chance", "share"), [(0.04, 1.0), (0.06, 0.25)])
    def test_all_screws_go_home_at_once_only_where_a_stall_is_rarer_than_one_in_twenty(
        self, monkeypatch: pytest.MonkeyPatch, chance: float, share: float
    ) -> None:
        went: list[float] = []
        monkeypatch.setattr(policy, "ends", lambda view, s: (0.0, 4.0))
        monkeypatch.setattr(policy, "may_stall", lambda s, due, by: chance)
        monkeypatch.setattr(policy, "to_place", lambda view, s, u, to: went.append(to) or [])
        view: Any = SimpleNamespace(step=Fraction(1, 16))
        policy.set_where_best(view, found(), [replace(SET, at=1.0, best=2.0, here=0.1)])
        assert went == [1.0 + share]

    @pytest.mark.parametrize(("off", "again"), [(0.1, True), (0.15, False)])
    def test_it_stalls_again_within_an_eighth_of_a_turn_of_where_it_stalled(self, off: float, again: bool) -> None:
        assert policy._others_alike(0, (1.0, 1.0), (3.0, 1.0 + off)) is again


class TestSpeedComesFirst:
    @pytest.mark.parametrize(("off", "first"), [(40.0, False), (60.0, True), (-60.0, True)])
    def test_where_it_is_more_than_fifty_off_and_would_stay_so(
        self, monkeypatch: pytest.MonkeyPatch, off: float, first: bool
    ) -> None:
        asked: list[tuple[float, float]] = []
        monkeypatch.setattr(policy, "_well_set", lambda s, rows: 900.0 + off)
        monkeypatch.setattr(policy, "_to_speed", lambda job, inputs, s, there, part: asked.append((there, part)) or [])
        nothing: Any = None
        policy.speed_first(nothing, SimpleNamespace(target=None), found(shots=(shot(900.0 + off),)), [SET])  # type: ignore[arg-type]
        # Six tenths of the way, since near a stall less air does more than it did.
        assert asked == ([(900.0 + off, 0.6)] if first else [])


class TestWhatATurnOfTheAirDoes:
    @pytest.mark.parametrize(("turn", "told"), [(0.02, 0.0), (0.04, 2.5)])
    def test_is_learned_from_none_that_is_less_than_a_hand_errs_by_twice(self, turn: float, told: float) -> None:
        before, after = shot(900.0), shot(990.0)
        before.opened, after.opened = 0.5, 0.5 + turn
        assert policy._answers_air(found(shots=(before, after))) == pytest.approx(told)


class TestNewJets:
    @pytest.mark.parametrize(("off", "turned"), [(Fraction(3, 16), False), (Fraction(5, 16), True)])
    def test_turn_their_screw_where_it_is_a_quarter_of_a_turn_off(
        self, monkeypatch: pytest.MonkeyPatch, off: Fraction, turned: bool
    ) -> None:
        monkeypatch.setattr(jet_reset, "ends", lambda view, s: (0.0, 4.0))
        monkeypatch.setattr(jet_reset.saying, "turn", lambda view, place, at, by: by)
        view: Any = SimpleNamespace(step=Fraction(1, 16))
        s = found(at=(Fraction(1),), spots=(Place(1, 1),))
        assert bool(jet_reset._to(view, s, 0, float(1 + off))) is turned
