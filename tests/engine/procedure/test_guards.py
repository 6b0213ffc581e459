"""Guards mean what Python means by the same text over exact fractions, and they say where they are wrong.

Judge: Python's own `eval`, with every number of the guard a `Fraction` of it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.procedure.language.compile import compile_node, uses
from engine.procedure.language.expr import Type
from engine.procedure.language.lexer import GuardFault
from engine.procedure.language.parser import parse
from engine.procedure.language.resolve import Scope, resolve, type_of

F = Fraction
NUMBERS = {
    "a": Type("number", low=F(-9), high=F(9)),
    "b": Type("number", low=F(1), high=F(9)),
    "c": Type("number", low=F(-9), high=F(-1)),
}
ROWS = {
    "r": Type("number", low=F(-9), high=F(9), each="carb"),
    "s": Type("number", low=F(-9), high=F(9), each="barrel"),
}
WORDS = {"w": Type("choice", choices=("red", "green", "no"))}
TRUTHS = {"p": Type("bool"), "q": Type("bool")}
FLOWS = {
    "flow": Type("number", "volume flow", "L/min", F(0), F(20)),
    "share": Type("number", "number", "%", F(0), F(1)),
    "turns": Type("number", "angle", "turn", F(0), F(8)),
    "water": Type("number", "temperature", "degC", F(250), F(400)),
    "loose": Type("number", low=F(0), high=F(9), holes=True),
    "lrow": Type("number", low=F(0), high=F(9), each="carb", holes=True),
    "lother": Type("number", low=F(0), high=F(9), each="carb", holes=True),
}
TYPES = {**NUMBERS, **ROWS, **WORDS, **TRUTHS, **FLOWS}
SCREWS = {"spindle": Type("number", "angle", "turn", F(0), F(8), each="carb", holes=True)}
SCOPE = Scope(TYPES.get, lambda: list(TYPES), SCREWS, {"carb": 4, "barrel": 8, "gap": 3, "cylinder": 8})


def run(text: str, **names: Any) -> Any:
    return compile_node(resolve(parse(text), SCOPE), {}, 2)(names)


def fault(text: str) -> GuardFault:
    with pytest.raises(GuardFault) as caught:
        resolve(parse(text), SCOPE)
    return caught.value


# ---- agreement with Python

number_text = st.sampled_from(["0", "1", "2.5", ".5", "3", "0.1", "7", "10.", "0.30"])
#: What Python calls our functions, over tuples of fractions.
PYTHON = {
    "mean": lambda row: F(sum(row)) / len(row),
    "spread": lambda row: max(row) - min(row),
    "abs": abs,
    "min": min,
    "max": max,
    "count": lambda row: F(sum(row)),
}


@st.composite
def sums(draw: Any, depth: int = 0) -> str:
    """An arithmetic expression over single numbers and aggregates."""
    kind = draw(st.integers(0, 8 if depth < 3 else 3))
    if kind <= 1:
        return draw(number_text)
    if kind <= 3:
        return draw(st.sampled_from(["a", "b", "c"]))
    if kind == 4:
        return f"{draw(sums(depth + 1))} {draw(st.sampled_from('+-*'))} {draw(sums(depth + 1))}"
    if kind == 5:
        return f"{draw(sums(depth + 1))} / {draw(st.sampled_from(['b', 'c', '(b + 2)', '4', '(b - c)']))}"
    if kind == 6:
        return f"-{draw(st.sampled_from(['a', '2', '(a + b)']))}"
    if kind == 7:
        return f"({draw(sums(depth + 1))})"
    return f"{draw(st.sampled_from(['min', 'max', 'mean', 'spread']))}(r)"


@st.composite
def truths(draw: Any, depth: int = 0) -> str:
    """A condition."""
    kind = draw(st.integers(0, 9 if depth < 3 else 5))
    signs = st.sampled_from(["<", "<=", ">", ">=", "==", "!="])
    if kind <= 2:
        return f"{draw(sums())} {draw(signs)} {draw(sums())}"
    if kind == 3:
        return f"{draw(sums())} {draw(signs)} a {draw(signs)} {draw(sums())}"
    if kind == 4:
        return f"w {draw(st.sampled_from(['==', '!=']))} '{draw(st.sampled_from(['red', 'green', 'no']))}'"
    if kind == 5:
        return draw(st.sampled_from(["p", "q", "True", "False"]))
    if kind == 6:
        return f"not {draw(truths(depth + 1))}"
    if kind == 7:
        return f"{draw(truths(depth + 1))} and {draw(truths(depth + 1))}"
    if kind == 8:
        return f"{draw(truths(depth + 1))} or {draw(truths(depth + 1))}"
    return f"({draw(truths(depth + 1))})"


numbers = st.fractions(min_value=-9, max_value=9, max_denominator=12)


def as_python(text: str) -> str:
    """The same text for Python, every number an exact fraction of what is written."""
    return re.sub(r"(?<![\w.])(\d+\.?\d*|\.\d+)", r"F('\1')", text).replace(".')", "')")


@settings(max_examples=600, deadline=None)
@given(
    text=truths(),
    a=numbers,
    b=st.fractions(1, 9, max_denominator=6),
    c=st.fractions(-9, -1, max_denominator=6),
    r=st.lists(numbers, min_size=1, max_size=4),
    p=st.booleans(),
    q=st.booleans(),
    w=st.sampled_from(["red", "green", "no"]),
)
def test_a_guard_is_worth_what_python_says(text: str, a: F, b: F, c: F, r: list[F], p: bool, q: bool, w: str) -> None:
    names = {"a": a, "b": b, "c": c, "r": tuple(r), "p": p, "q": q, "w": w}
    try:
        ours = run(text, **names)
    except GuardFault as refused:
        # A generated text may be too long or too deep; it is never wrong otherwise.
        assert refused.code in ("guard-too-long", "guard-too-deep"), (text, refused.message)
        return
    assert ours == eval(as_python(text), {"F": F, **PYTHON, "__builtins__": {}}, names), text


@settings(max_examples=150, deadline=None)
@given(
    r=st.lists(st.none() | numbers, min_size=1, max_size=4), bound=numbers, sign=st.sampled_from(["<", "<=", "==", ">"])
)
def test_aggregates_look_at_the_places_that_are_there(r: list[F | None], bound: F, sign: str) -> None:
    there = [x for x in r if x is not None]
    holds = {x: eval(f"x {sign} y", {}, {"x": x, "y": bound}) for x in there}
    truths_there = [holds[x] for x in there]
    names = {"lrow": tuple(r), "a": bound}
    assert run(f"any(lrow {sign} a)", **names) == any(truths_there)
    assert run(f"all(lrow {sign} a)", **names) == all(truths_there)
    assert run(f"count(lrow {sign} a)", **names) == sum(truths_there)
    assert run(f"which(lrow {sign} a)", **names) == tuple(x is not None and holds[x] for x in r)
    assert run("known(lrow)", **names) == (len(there) == len(r))
    for function, judge in (("min", min), ("max", max), ("spread", PYTHON["spread"]), ("mean", PYTHON["mean"])):
        assert run(f"{function}(lrow)", **names) == (judge(there) if there else None)


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(numbers, st.none() | numbers, st.none() | numbers), min_size=1, max_size=4),
    bound=numbers,
)
def test_what_is_joined_inside_is_asked_of_one_place_where_all_of_it_is_there(
    rows: list[tuple[F, F | None, F | None]], bound: F
) -> None:
    r, lrow, other = (tuple(column) for column in zip(*rows, strict=True))
    names = {"r": r, "lrow": lrow, "lother": other, "a": bound}
    for word, join in (("and", all), ("or", any)):
        for inverse in (False, True):
            inside = f"r > a {word} {'not (lrow > 2)' if inverse else 'lrow > 2'} {word} lother <= a"
            found = [
                None if x is None or y is None else join([z > bound, (x > 2) != inverse, y <= bound])
                for z, x, y in zip(r, lrow, other, strict=True)
            ]
            there = [v for v in found if v is not None]
            assert run(f"any({inside})", **names) == any(there)
            assert run(f"all({inside})", **names) == all(there)
            assert run(f"count({inside})", **names) == sum(there)
            assert run(f"which({inside})", **names) == tuple(v is True for v in found)


@settings(max_examples=50, deadline=None)
@given(low=st.lists(numbers, min_size=2, max_size=2), high=st.lists(numbers, min_size=4, max_size=4))
def test_what_is_joined_of_carbs_and_barrels_is_asked_of_the_barrels(low: list[F], high: list[F]) -> None:
    names = {"r": tuple(low), "s": tuple(high)}
    found = tuple(a > 1 and b < 2 for a, b in zip([low[0], low[0], low[1], low[1]], high, strict=True))
    assert run("which(r > 1 and s < 2)", **names) == found
    assert run("count(s < 2 and r > 1)", **names) == sum(found)


@settings(max_examples=100, deadline=None)
@given(low=st.lists(numbers, min_size=2, max_size=2), high=st.lists(numbers, min_size=4, max_size=4))
def test_the_value_of_a_carb_spreads_over_its_barrels(low: list[F], high: list[F]) -> None:
    spread = [low[0], low[0], low[1], low[1]]
    names = {"r": tuple(low), "s": tuple(high)}
    assert run("which(s > r)", **names) == tuple(x > y for x, y in zip(high, spread, strict=True))
    assert run("max(s - r)", **names) == max(x - y for x, y in zip(high, spread, strict=True))
    assert run("which(spread(s, per: carb) > r)", **names) == (
        abs(high[0] - high[1]) > low[0],
        abs(high[2] - high[3]) > low[1],
    )


@given(text=truths(), name=st.sampled_from(["a", "p", "w", "r"]))
@settings(max_examples=200, deadline=None)
def test_a_guard_tells_every_name_that_it_reads(text: str, name: str) -> None:
    try:
        node = resolve(parse(text), SCOPE)
    except GuardFault:
        return
    assert (name in uses(node, {})) == bool(re.search(rf"\b{name}\b", re.sub(r"'\w*'", "", text)))


# ---- what is missing


@pytest.mark.parametrize("text", ["loose > 1", "loose <= 1", "loose == loose", "0 < loose < 5", "loose + a > 0"])
def test_a_comparison_with_something_missing_is_false(text: str) -> None:
    assert run(text, a=F(1)) is False
    assert run(text, a=F(1), loose=None) is False
    assert run(f"not ({text})", a=F(1)) is True


def test_known_tells_what_is_missing() -> None:
    assert run("known(loose)", loose=F(0)) and not run("known(loose)")
    assert run("known(spindle)", **{"position:spindle": (F(0), F(1))})
    assert not run("known(spindle)", **{"position:spindle": (F(0), None)})
    assert uses(resolve(parse("known(spindle)"), SCOPE), {}) == {"position:spindle"}


# ---- units


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("flow > 5", {"flow": F("5.1")}),  # a bare number takes the unit of what it is compared with
        ("flow == 5 L/min", {"flow": F(5)}),
        ("share > 4.9", {"share": F(5, 100)}),  # 5 %
        ("share == 5 %", {"share": F(5, 100)}),
        ("turns == 3 flat", {"turns": F(1, 2)}),
        ("turns == 1/3 turn", {"turns": F(1, 3)}),
        ("turns == 1 1/3", {"turns": F(4, 3)}),
        ("water > 80", {"water": F("354.15")}),  # 81 degC in kelvin, the base unit
        ("water < -5 degC", {"water": F("268")}),
        ("water == 212 degF", {"water": F("373.15")}),
        ("flow <= 5 % * 20 L/min", {"flow": F(1)}),
        ("flow / 4 == 1", {"flow": F(4)}),
        ("flow / 4 L/min == 1", {"flow": F(4)}),
        ("2 * flow + 1 > 8.9", {"flow": F(4)}),
        ("0.1 * flow + 0.2 * flow == 0.3 * flow", {"flow": F(7)}),  # what binary floats get wrong
    ],
)
def test_numbers_stand_in_their_units(text: str, names: dict[str, F]) -> None:
    assert run(text, **names) is True


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("flow + 2", 2, 22, "L/min"),
        ("-flow", -20, 0, "L/min"),
        ("a * b", -81, 81, None),
        ("b / c", -9, F(-1, 9), None),
        ("abs(a)", 0, 9, None),
        ("spread(r)", 0, 18, None),
        ("mean(r) - max(r)", -18, 18, None),
        ("count(r > 0)", 0, 4, None),
        ("5 % * flow", 0, 1, "L/min"),
        ("flow / 5 L/min", 0, 4, None),
        ("-a * 2", -18, 18, None),
        ("1/4", F(1, 4), F(1, 4), None),
    ],
)
def test_the_range_of_an_expression_is_worked_out_by_intervals(text: str, low: F, high: F, unit: str | None) -> None:
    kind = type_of(resolve(parse(text), SCOPE))
    assert (kind.low, kind.high, kind.unit) == (low, high, unit)


@settings(max_examples=200, deadline=None)
@given(
    text=sums(),
    a=numbers,
    b=st.fractions(1, 9, max_denominator=6),
    c=st.fractions(-9, -1, max_denominator=6),
    r=st.lists(numbers, min_size=1, max_size=4),
)
def test_no_value_lies_outside_its_range(text: str, a: F, b: F, c: F, r: list[F]) -> None:
    try:
        node = resolve(parse(text), SCOPE)
    except GuardFault:
        return
    value, kind = compile_node(node, {}, 2)({"a": a, "b": b, "c": c, "r": tuple(r)}), type_of(node)
    assert kind.low is None or kind.low <= value
    assert kind.high is None or value <= kind.high


# ---- what is no guard


@pytest.mark.parametrize(
    ("text", "code", "at"),
    [
        ("flow >", "bad-guard", ">"),
        ("(a > 1", "bad-guard", "1"),
        ("a = 1", "bad-guard", "="),
        ("p && q", "bad-guard", "&&"),
        ("a > 1 if p else 2", "bad-guard", "if"),
        ("a ** 2 > 1", "bad-guard", "**"),
        ("w == 'red", "bad-guard", "'red"),
        ("min(a, b)", "bad-guard", "b"),
        ("a > 1; q", "bad-guard", ";"),
        ("a[0] > 1", "bad-guard", "["),
        ("a > 1e9", "bad-number", "1e9"),
        ("a > 12345678901234567890", "bad-number", "12345678901234567890"),
        ("a > 1/0 turn", "may-divide-by-zero", "1/0"),
        ("b / 0", "may-divide-by-zero", "0"),
        ("b / a > 1", "may-divide-by-zero", "a"),
        ("1 / (a + b)", "may-divide-by-zero", "a + b"),
        ("a > 5 minuts", "unknown-unit", "minuts"),
        ("floww > 1", "unknown-name", "floww"),
        ("sqrt(a) > 1", "unknown-function", "sqrt"),
        ("spindle > 1", "wrong-kind", "spindle"),
        ("any(position(spindel) > 1)", "unknown-name", "spindel"),
        ("flow > 5 rpm", "unit-mismatch", "5 rpm"),
        ("flow + turns > 1", "unit-mismatch", "flow + turns"),
        ("flow * turns > 1", "unit-mismatch", "flow * turns"),
        ("water + 5 > 80", "temperature-sum", "water"),
        ("w == 'blue'", "unknown-choice", "'blue'"),
        ("w < 'red'", "wrong-kind", "w < 'red'"),
        ("w == red", "unknown-name", "red"),
        ("flow == 'red'", "wrong-kind", "'red'"),
        ("p == True", "wrong-kind", "p"),
        ("a and p", "wrong-kind", "a"),
        ("w or p", "wrong-kind", "w"),
        ("p > 1", "wrong-kind", "p"),
        ("r > 1 and p", "row-not-single", "r > 1"),
        ("any(a > 1)", "single-not-row", "a > 1"),
        ("spread(a) > 1", "single-not-row", "a"),
        ("any(r)", "wrong-kind", "r"),
        ("any(r > 1 and r)", "wrong-kind", "r"),
        ("any(r > 1 and p)", "single-not-row", "p"),
        ("all(r > 1 or not (a > 2))", "single-not-row", "a > 2"),
        ("count(flow > 1 L/min and flow < 2 L/min) > 1", "single-not-row", "flow > 1 L/min"),
        ("spread(r, per: carb) > 1", "rows-dont-fit", "r"),
        ("max(r, per: barrel)", "bad-guard", "barrel"),
        ("x / 1/4 turn", "bad-guard", "1/4"),
        ("not " * 30 + "p", "guard-too-deep", None),
        ("(" * 25 + "a" + ")" * 25 + " > 1", "guard-too-deep", None),
        ("a > 1 and " * 40 + "p", "guard-too-long", None),
    ],
)
def test_a_text_that_is_no_guard_is_refused_where_it_is_wrong(text: str, code: str, at: str | None) -> None:
    found = fault(text)
    assert found.code == code
    assert found.message.endswith((".", "`."))
    if at is not None:
        assert text[found.start : found.end] == at


def test_a_word_without_its_quotes_is_told_as_one() -> None:
    found = fault("w == red")
    assert (found.code, found.message, found.hint) == (
        "unknown-name",
        "`red` is a word here, and no name.",
        "Write it as `'red'`.",
    )
    assert fault("w == read").message == "Nothing here is called `read`."


@settings(max_examples=400, deadline=None)
@given(st.text(max_size=60) | st.text(alphabet="abrw'()<>=!+-*/.,: 0123456789%notdpurel", max_size=80))
def test_any_text_is_a_guard_or_a_fault_with_a_place(text: str) -> None:
    try:
        resolve(parse(text), SCOPE)
    except GuardFault as refused:
        assert 0 <= refused.start <= refused.end <= max(len(text), 1)
