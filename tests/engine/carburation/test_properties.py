"""What holds of every adviser whatever is read, and one thing that must hold of each by the nature of its matter."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.carburation.registry import ADVISERS
from engine.evidence import Advice, Place
from tests.engine.carburation.worked import Case, cases, said_move, said_place

#: A head of each adviser's cases, to put other rows to.
HEADS = {name: cases(name)[0] for name in ADVISERS}


def ask(name: str, *rows: dict[str, Any], **other: Any) -> Advice:
    """The head of an adviser's cases with other rows, and other values, screws or job where given."""
    return Case(name, {**HEADS[name].told, **other}).put(rows=list(rows))


def screws_of(name: str, **stands: Any) -> dict[str, Any]:
    """The head's screws, standing elsewhere."""
    screws = HEADS[name].told["screws"]
    return {k: {**s, "stands": {**s["stands"], **{p.replace("_", "."): v for p, v in stands.items()}}}
            for k, s in screws.items()}  # fmt: skip


# --- every adviser --------------------------------------------------------------------------------------------------

#: What a tired hand or a broken gauge may give for any figure.
ANYTHING = st.none() | st.floats(-1e6, 1e6, allow_nan=False).map(lambda v: round(v, 3)) | st.sampled_from((0, 1e-9))


def _spoilt(draw: Any, value: Any) -> Any:
    if isinstance(value, list):
        return [_spoilt(draw, v) for v in value]
    if isinstance(value, str) or not draw(st.booleans()):
        return value
    return draw(ANYTHING)


@pytest.mark.parametrize("name", ADVISERS)
@settings(max_examples=8)
@given(st.data())
def test_whatever_is_read_the_contract_is_kept_and_no_screw_leaves_its_range(name: str, data: st.DataObject) -> None:
    """`Case.put` itself checks outputs, findings and sentences against the contract."""
    case = data.draw(st.sampled_from(cases(name)))
    rows = [
        {q: v if q in ("turn", "fit", "state", "symptom") else _spoilt(data.draw, v) for q, v in row.items()}
        for row in case.told.get("rows", [])
    ]
    advice = case.put(rows=rows)
    ranges = {s["name"]: [Fraction(str(v)) for v in s["range"]] for s in case.told.get("screws", {}).values()}
    for move in advice.moves:
        low, high = ranges[move.screw]
        assert move.position is None or low <= move.position <= high
    assert advice.because is not None and all(
        (advice.because.used, advice.because.concluded, advice.because.sure, advice.because.would_change)
    )


# --- each by its nature ---------------------------------------------------------------------------------------------

FLOWS = st.tuples(*[st.integers(30, 60).map(lambda v: v / 10)] * 2)


@settings(max_examples=12)
@given(FLOWS)
def test_bodies_that_change_places_change_their_moves(flows: tuple[float, float]) -> None:
    a, b = flows
    here, there = ({"airflow": [x, x, y, y]} for x, y in ((a, b), (b, a)))
    swap = {"1": "2", "2": "1"}

    def moves(advice: Advice, change: bool) -> set[str]:
        said = (said_move(m).split(" ", 1) for m in advice.moves)
        return {f"{n} {swap[r[0]] if change else r[0]}{r[1:]}" for n, r in said}

    one, other = ask("air_balance", here, here), ask("air_balance", there, there)
    assert one.outputs["verdict"] == other.outputs["verdict"]
    if one.outputs["verdict"] == "even":
        assert abs(a - b) <= 0.11 * (a + b)
    elif len(one.moves) == len(other.moves) == 2:  # with one move either body may be the one that is turned
        assert moves(one, False) == moves(other, True)


@settings(max_examples=12)
@given(FLOWS)
def test_only_the_bypass_of_a_lower_barrel_is_opened(flows: tuple[float, float]) -> None:
    row = {"airflow": [flows[0], flows[1], 4.4, 4.4]}
    for move in ask("body_balance", row, row).moves:
        lower = Place(1, 1 if flows[0] < flows[1] else 2)
        assert (move.place, move.direction) == (lower, "out")


@settings(max_examples=12)
@given(st.integers(500, 1500))
def test_more_air_where_it_is_slow_less_where_it_is_fast_and_alike_on_every_body(speed: int) -> None:
    moves = ask("idle_speed", {"airflow": [4.4] * 4, "engine speed": speed}).moves
    ways = {(m.direction, m.turns) for m in moves}
    assert len(ways) <= 1
    if moves:
        assert len(moves) == 2 and moves[0].effect == ("more air" if speed < 900 else "less air")
        assert abs(speed - 900) > 20


@settings(max_examples=12)
@given(st.lists(st.floats(0.80, 1.04).map(lambda v: round(v, 2)), min_size=4, max_size=4))
def test_a_lean_barrel_is_never_leaned_nor_a_rich_one_enriched(lams: list[float]) -> None:
    row = {"engine speed": 900, "lambda": lams}
    by_place = dict(zip(("1.1", "1.2", "2.1", "2.2"), lams, strict=True))
    for move in ask("idle_mixture", row, row).moves:
        lam = by_place[said_place(move.place)]
        if not 0.88 < lam < 0.94:
            assert move.effect == ("richer" if lam > 0.91 else "leaner")


@settings(max_examples=12)
@given(st.lists(st.integers(8, 40).map(lambda v: v / 16), min_size=4, max_size=4))
def test_a_screw_that_rests_further_in_never_has_the_smaller_jet(rests: list[float]) -> None:
    screws = screws_of("idle_jets", **dict(zip(("1_1", "1_2", "2_1", "2_2"), rests, strict=True)))
    told = ask("idle_jets", *HEADS["idle_jets"].told["rows"], screws=screws).outputs["barrels"]
    for rest, word in zip(rests, told, strict=True):
        assert not ("small" in word and rest < 1.25) and not ("large" in word and rest > 1.25)


@settings(max_examples=12)
@given(st.sampled_from(("1_1", "1_2", "2_1", "2_2")), st.sampled_from((0.45, 1.25, 2.2, 2.5)))
def test_a_swap_only_changes_jets_about(suspect: str, rest: float) -> None:
    sizes = {"1_1": 50, "1_2": 50, "2_1": 50, "2_2": 50}
    at = {**dict.fromkeys(sizes, 1.25), suspect: rest}
    parts = ask("jet_swap", *HEADS["jet_swap"].told["rows"], screws=screws_of("jet_swap", **at)).parts
    assert len(parts) % 2 == 0
    assert sorted(p.size for p in parts) == [50] * len(parts)
    assert len({p.place for p in parts}) == len(parts)


@settings(max_examples=12)
@given(st.permutations([50, 50, 50, 45]))
def test_the_odd_number_is_named_wherever_it_is(row: list[int]) -> None:
    advice = ask("jet_numbers", {"idle jet size": row})
    at = ("1.1", "1.2", "2.1", "2.2")[row.index(45)]
    assert [f"{said_place(p.place)}: {p.size}" for p in advice.parts] == [f"{at}: 50"]


DONE = {"leak": "no", "nudge": "no", "cleaned": "no change", "swap": "stayed"}


@settings(max_examples=12)
@given(st.dictionaries(st.sampled_from(sorted(DONE)), st.booleans()), st.none() | st.integers(-9, 9))
def test_a_check_that_was_made_is_never_asked_again(made: dict[str, bool], level: int | None) -> None:
    values = {k: v for k, v in DONE.items() if made.get(k)}
    row = {"engine speed": 900} | ({} if level is None else {"fuel level": level / 10})
    after = ask("jet_checks", row, values=values).outputs["next"]
    done = {"clean" if k == "cleaned" else k for k in values} | (set() if level is None else {"level"})
    assert after not in done


@settings(max_examples=12)
@given(st.floats(0.6, 1.6), st.integers(44, 60).map(lambda v: v / 10))
def test_a_linkage_that_moved_nothing_follows_at_any_speed(by: float, second: float) -> None:
    """A row that only scales with the speed of the engine says nothing of the linkage."""
    before = [4.4, 4.4, second, second]
    off = {"state": {"pedal_link": "off"}, "airflow": before}
    on = {"state": {"pedal_link": "on"}, "airflow": [round(v * by, 1) for v in before]}
    assert ask("linkage_balance", off, on).outputs["verdict"] in ("follows", "read again")


@settings(max_examples=12)
@given(st.integers(60, 500), st.integers(60, 200).map(lambda v: v * 10))
def test_sizing_never_says_more_than_a_note(main: int, volume: int) -> None:
    job = HEADS["sizing"].told["job"]
    engine = {**job["engine"], "displacement": f"{4 * volume / 4} cc"}
    advice = ask("sizing", job={"engine": engine, "bank": {**job["bank"], "main_jet": main}})
    assert {f.severity for f in advice.findings} <= {"note"} and not advice.parts and not advice.moves


LAM = st.floats(0.75, 1.0).map(lambda v: round(v, 3))


@settings(max_examples=12)
@given(LAM, LAM, st.sampled_from((120, 130, 140)))
def test_a_lean_pull_never_has_a_smaller_jet_nor_a_rich_one_a_larger(low: float, high: float, main: int) -> None:
    job = HEADS["main_circuit"].told["job"]
    row = {"low lambda": low, "middle lambda": round((low + high) / 2, 3), "high lambda": high}
    advice = ask("main_circuit", row, job={**job, "bank": {**job["bank"], "main_jet": main}})
    if advice.outputs["verdict"] == "main jet":
        larger = advice.outputs["size"] > main
        assert larger == (max(low, high) > 0.87)
        assert {p.size for p in advice.parts} == {advice.outputs["size"]}
    assert advice.outputs["lean"] == ("yes" if max(low, high) > 0.92 else "no")


@settings(max_examples=12)
@given(st.floats(0.5, 6.0), st.floats(0.1, 1.5), st.floats(0.1, 2.0))
def test_more_oxygen_in_the_pipe_never_reads_richer(co: float, oxygen: float, more: float) -> None:
    """An exhaust leak leans what is read, it never enriches it."""
    one, other = (
        ask("exhaust_gas", {"CO": round(co, 2), "CO2": 12.5, "O2": round(o2, 2), "HC": 100})
        for o2 in (oxygen, oxygen + more)
    )
    assert math.isclose(float(one.outputs["lambda"]), float(other.outputs["lambda"])) or (
        one.outputs["lambda"] < other.outputs["lambda"]
    )


def test_of_a_cylinder_that_told_nothing_nobody_is_sure() -> None:
    """It was once said to be near its best with 94 of 100, by the picture that its silence fitted too."""
    case = next(
        c for c in cases("idle_mixture") if c.told["that"] == "a screw that was turned far both ways and never answered"
    )
    *others, silent, last = case.put().outputs["sure"]
    assert 0.3 < silent < 0.7 and min(*others, last) > silent
