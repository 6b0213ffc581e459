"""Whatever is read, the run takes the branch that the checker's boxes say it takes: exact on every boundary."""

from fractions import Fraction

from check_kit import TRUTH, F, Kit, choice, number
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.procedure.check.guards.formulas import TooComplex
from engine.procedure.check.guards.space import Cell
from engine.quantity.exact import rounded

CHOICES = ("steady", "hammering", "silent")
LEVELS = [Fraction(n, 2) for n in range(-2, 22)] + [Fraction(1, 3), Fraction(7, 3)]
OPS = st.sampled_from(("<", "<=", ">", ">=", "==", "!="))
LEVEL = st.sampled_from(("0", "1", "2", "2.5", "3", "7/3", "5 L/min", "10"))
NUMBERS = st.sampled_from(
    (
        "x",
        "y",
        "z",
        "gap",
        "x - y",
        "2 * x + z",
        "abs(x - 3)",
        "min(flow)",
        "max(flow)",
        "mean(flow)",
        "min(draw)",
        "spread(draw)",
        "mean(draw)",
        "max(flow) - min(draw)",
        "x * 50 %",
        "0 - y",
        "level",
        "z - z",
        "y - y + z",
        "x * share",
        "max(draw) - max(draw)",
        "max(flow) - 0.9 * min(flow)",
        "max(draw) - 0.9 * min(draw)",
        "max(flow) - share * min(flow)",
        "max(link)",
        "mean(link) - z",
        "spread(link)",
        "spread(flow - z)",
        "max(draw - draw + flow)",
    )
)
#: `link` has a place between any two carbs: none on a bank of one.
ROWS = st.sampled_from(
    ("flow", "draw", "flow - draw", "flow - x", "abs(flow - mean(flow))", "flow * 2", "draw - draw", "link", "link - z")
)


#: What may be asked of a place together with something else.
PLACES = st.builds(
    lambda what, op, level, inverse: (
        f"not ({what.format(op=op, level=level)})" if inverse else what.format(op=op, level=level)
    ),
    st.sampled_from(
        (
            "flow {op} {level}",
            "draw {op} {level}",
            "noise != 'silent'",
            "noise == 'steady'",
            "ring == 'no'",
            "draw {op} z",
        )
    ),
    OPS,
    LEVEL,
    st.booleans(),
)


@st.composite
def atoms(draw):
    """A comparison of any kind that the language has."""
    op, level = draw(OPS), draw(LEVEL)
    kind = draw(st.integers(0, 10))
    if kind > 8:
        parts = draw(st.lists(PLACES, min_size=2, max_size=3))
        inside = draw(st.sampled_from((" and ", " or "))).join(parts)
        return draw(st.sampled_from((f"any({inside})", f"all({inside})", f"count({inside}) {op} 2")))
    if kind <= 2:
        return f"{draw(NUMBERS)} {op} {level}"
    if kind == 3:
        return f"{draw(st.sampled_from(('any', 'all')))}({draw(ROWS)} {op} {level})"
    if kind == 4:
        return f"any({draw(ROWS)} {op} {draw(st.sampled_from(('x', 'y', 'z', 'level')))})"
    if kind == 5:
        return f"count({draw(ROWS)} {op} {level}) {draw(OPS)} {draw(st.integers(0, 4))}"
    if kind == 6:
        word = draw(
            st.sampled_from(("sound {} '{}'", "any(noise {} '{}')", "all(noise {} '{}')", "count(noise {} '{}') >= 2"))
        )
        return word.format(draw(st.sampled_from(("==", "!="))), draw(st.sampled_from(CHOICES)))
    if kind == 7:
        return draw(
            st.sampled_from(
                (
                    "meter",
                    "stem == 'coarse'",
                    "drips == 'yes'",
                    "drips != 'yes'",
                    "known(z)",
                    "known(draw)",
                    "known(drips)",
                    "known(gap)",
                    "known(link)",
                    "z == z",
                    "any(draw == draw)",
                )
            )
        )
    low, high = sorted(draw(st.lists(st.integers(0, 6), min_size=2, max_size=2)))
    inner = f"{low} {draw(st.sampled_from(('<', '<=')))} {{}} {draw(st.sampled_from(('<', '<=')))} {high}"
    return draw(
        st.sampled_from(
            (
                "any(" + inner.format("flow") + ")",
                "all(1 < draw < flow)",
                "all(z < flow <= draw)",
                "any(flow >= draw > 1)",
                "all(" + inner.format("draw") + ")",
                inner.format("x"),
                inner.format("gap"),
            )
        )
    )


GUARDS = st.recursive(
    atoms(),
    lambda inner: st.one_of(
        inner.map(lambda g: f"not ({g})"),
        st.tuples(inner, st.sampled_from((" and ", " or ")), inner).map(lambda t: f"({t[0]}{t[1]}{t[2]})"),
    ),
    max_leaves=4,
)
STEPS = {"x": Fraction(1), "flow": Fraction(1, 2), "y": Fraction(3, 4)}
VALUE = st.sampled_from([v for v in LEVELS if 0 <= v <= 10])
LACKING = st.one_of(st.none(), st.sampled_from([v for v in LEVELS if 0 <= v <= 5]))


@st.composite
def readings(draw):
    """Something that may have been read, on a bank of one to three."""
    n = draw(st.integers(1, 3))
    return {
        "x": draw(VALUE),
        "y": draw(st.sampled_from([v for v in LEVELS if -1 <= v <= 10])),
        "z": draw(st.one_of(st.none(), st.sampled_from([v for v in LEVELS if 0 <= v <= 3]))),
        "level": draw(st.sampled_from([Fraction(n, 4) for n in range(4, 13)])),
        "share": draw(st.sampled_from([Fraction(n, 4) for n in range(2, 7)])),
        "sound": draw(st.sampled_from(CHOICES)),
        "drips": draw(st.sampled_from(("no", "yes", None))),
        "flow": tuple(draw(VALUE) for _ in range(n)),
        "draw": tuple(draw(LACKING) for _ in range(n)),
        "noise": tuple(draw(st.sampled_from(CHOICES)) for _ in range(n)),
        "ring": tuple(draw(st.sampled_from(("no", "yes", None))) for _ in range(n)),
        "link": tuple(draw(LACKING) for _ in range(n - 1)),
        "meter": draw(st.booleans()),
        "stem": draw(st.sampled_from(("coarse", "fine"))),
    }


def kit(steps=None):
    return Kit(
        {
            "x": number(0, 10),
            "y": number(-1, 10),
            "z": number(0, 3, holes=True),
            "level": number(1, 3),
            "share": number(F(1, 2), F(3, 2), unit=""),
            "sound": choice(*CHOICES),
            "drips": choice("no", "yes", holes=True),
            "flow": number(0, 10, each="carb"),
            "draw": number(0, 5, each="carb", holes=True),
            "noise": choice(*CHOICES, each="carb"),
            "ring": choice("no", "yes", each="carb", holes=True),
            "link": number(0, 5, each="gap", holes=True),
        },
        facts={"meter": TRUTH, "stem": choice("coarse", "fine")},
        values={"gap": "spread(flow)"},
        carbs=(1, 3),
        steps=steps,
    )


# ---- where a reading lies, worked out from the axes' own definition


def total(terms, names, place=None):
    """The worth of a form, None where something of it is missing."""
    worths = [(c, worth(atom, names, place)) for atom, c in terms]
    return None if any(w is None for _, w in worths) else sum((c * w for c, w in worths), Fraction(0))


def places(names, key):
    """The places of the row that a key speaks of."""
    return range(max((len(names[n]) for n in mentioned(key) if isinstance(names.get(n), tuple)), default=0))


def mentioned(key):
    """The names in a key, however deep."""
    if isinstance(key, str):
        return {key}
    return set().union(*(mentioned(k) for k in key)) if isinstance(key, tuple | frozenset) else set()


def worth(atom, names, place=None):
    """The worth of an atom; of an element of a row at a place."""
    kind, key = atom
    if kind in ("min", "max", "mean"):
        row = [v for i in places(names, key) if (v := total(key, names, i)) is not None]
        gather = {"min": min, "max": max, "mean": lambda r: sum(r) / Fraction(len(r))}[kind]
        return gather(row) if row else None
    if isinstance(key, str):
        return names[key][place] if kind == "e" else names[key]
    if key[0] in ("min", "max", "mean", "spread"):  # of the places where all that it was written with is there
        row = [
            v
            for i in places(names, key)
            if (v := form(key[1], names, i)) is not None and all(worth(a, names, i) is not None for a in key[2])
        ]
        gather = {"min": min, "max": max, "mean": lambda r: sum(r) / Fraction(len(r))}
        return (max(row) - min(row) if key[0] == "spread" else gather[key[0]](row)) if row else None
    if key[0] == "abs":
        inner = form(key[1], names, place)
        return None if inner is None else abs(inner)
    if key[0] in ("count", "many"):
        return Fraction(sum(holds(key[1], names, i) for i in places(names, key[1])))
    a, b = form(key[1], names, place), form(key[2], names, place)
    return None if a is None or b is None else a * b if key[0] == "*" else a / b


def form(f, names, place):
    inner = total(f[0], names, place)
    return None if inner is None else inner + f[1]


def holds(f, names, place):
    """Whether a formula over elements holds at a place, all of it being there."""
    if isinstance(f, bool):
        return f
    if f[0] in ("and", "or"):
        return (all if f[0] == "and" else any)(holds(i, names, place) for i in f[1])
    if f[0] == "enum":
        if f[1][0] == "c" or names[f[1][1]][place] is None:  # of the whole engine, or not there
            return names[f[1][1]] in f[2] if f[1][0] == "c" else False
        return (names[f[1][1]][place] in f[2]) == f[3]
    value = total(f[1], names, place)
    return value is not None and bool(f[3] & (1 if value < f[2] else 2 if value == f[2] else 4))


def within(cell, value):
    above = cell.low is None or value > cell.low or (cell.low_in and value == cell.low)
    return above and (cell.high is None or value < cell.high or (cell.high_in and value == cell.high))


def cell_of(space, axis, names):
    """Which cell of an axis the readings lie in."""
    if axis.kind == "worlds":
        return next(
            w
            for w in range(space.worlds.count)
            if all(space.worlds.cell(w, atom) == names[atom[1]] for atom in space.worlds.facts)
        )
    if axis.kind == "enum":
        name = axis.key[1]
        if name.startswith("known:"):
            return 0 if None not in names[name[6:]] else 1
        return axis.cells.index(names[name])
    if axis.kind == "line":
        if axis.key[0][0][1][0] == "many" and total(axis.key, names) == 0:
            return 0  # with none at all, how many there are says nothing
        value = total(axis.key, names)
        return next(
            i for i, c in enumerate(axis.cells) if (value is None) == (c is None) and (c is None or within(c, value))
        )
    if axis.kind == "row":
        chosen = 0
        for i in places(names, axis.key):
            value = names[axis.key[1]][i] if isinstance(axis.key[0], str) else total(axis.key, names, i)
            for k, kind in enumerate(axis.cells):
                if value is not None and any(within(c, value) if isinstance(c, Cell) else c == value for c in kind):
                    chosen |= 1 << k
        return chosen
    return 0 if any(all(holds(f, names, i) for f in axis.key[1]) for i in places(names, axis.key[1])) else 1


@settings(max_examples=300)
@given(st.lists(GUARDS, min_size=1, max_size=4), readings(), st.booleans())
@example(
    ["x < 3", "x <= 3", "gap > 5"],
    {
        "x": Fraction(3),
        "y": Fraction(0),
        "z": None,
        "level": Fraction(1),
        "share": Fraction(1),
        "sound": "steady",
        "drips": None,
        "flow": (Fraction(0), Fraction(5)),
        "draw": (None, None),
        "noise": ("steady", "silent"),
        "ring": ("no", None),
        "link": (None,),
        "meter": True,
        "stem": "fine",
    },
    False,
)
@example(
    ["any(abs(flow - mean(flow)) != z)", "abs(x) != z"],
    {
        "x": Fraction(0),
        "y": Fraction(-1),
        "z": None,
        "level": Fraction(1),
        "share": Fraction(1),
        "sound": "steady",
        "drips": "no",
        "flow": (Fraction(0),),
        "draw": (None,),
        "noise": ("steady",),
        "ring": ("no",),
        "link": (),
        "meter": False,
        "stem": "coarse",
    },
    False,
)
def test_the_run_takes_the_branch_whose_box_holds_the_readings(texts, names, stepped):
    """With `stepped`, readings are rounded as the run rounds them, and cells that none then lies in are gone."""
    texts = [t for t in texts if len(t) <= 300]
    k = kit(STEPS if stepped else None)
    if stepped:

        def entered(name, value):
            return rounded(value, STEPS[name], k.names[name].low, k.names[name].high)

        names = {
            **names,
            "x": entered("x", names["x"]),
            "y": entered("y", names["y"]),
            "flow": tuple(entered("flow", v) for v in names["flow"]),
        }
    try:
        _, found = k.ways(texts)
    except TooComplex:
        return
    if found.space is None:
        return
    cells = [cell_of(found.space, axis, names) for axis in found.space.axes]

    def inside(boxes):
        return any(all(mask >> cell & 1 for mask, cell in zip(box, cells, strict=True)) for box in boxes)

    taken = next((i for i, b in enumerate(found.branches) if b.when.run(names)), None)
    assert [i for i, fresh in enumerate(found.fresh) if inside(fresh)] == ([] if taken is None else [taken])
    assert inside(found.left) == (taken is None)
    for i, branch in enumerate(found.branches):
        assert inside(found.own[i]) == branch.when.run(names)
    if taken is not None:
        boxes = [b for b in found.fresh[taken] if inside([b])]
        assert any(found.theory.possible(b) for b in boxes), "a box with a real reading is called empty"
