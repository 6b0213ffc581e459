"""Pages of expressions that can't be read, or that make no sense with what their names are."""

from engine.procedure.report.pages.page import Page

_WRONG = "The run would compare what can't be compared, so it refuses."


def _with(expression: str) -> str:
    return (
        "readings:\n  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20], step: 0.1}\n"
        "  speed: {ask: Speed, quantity: other, unit: rpm, range: [0, 5000]}\n"
        "  water: {ask: Water, unit: degC, range: [0, 100]}\n"
        "steps:\n  gate:\n    do: Read it all.\n    read: [flow, speed, water]\n    branch:\n"
        f"      - {{when: '{expression}', go: done}}\n      - {{otherwise: done}}\n"
    )


PAGES = (
    Page(
        "bad-guard",
        "An expression that can't be read",
        "Expressions are comparisons joined by `and`, `or` and `not`, with `+ - * /`, brackets, and the functions "
        "any, all, count, which, min, max, mean, spread, abs, position and known. Nothing else is one.",
        _WRONG,
        "Correct the place that is underlined.",
        _with("max(flow) > 1 and and speed > 900"),
    ),
    Page(
        "guard-too-long",
        "An expression too long to read",
        "It has more than 300 characters.",
        "Nobody could check it by eye.",
        "Give parts of it names under `values`.",
        _with(" or ".join(["speed > 900 rpm"] * 20)),
    ),
    Page(
        "guard-too-deep",
        "An expression nested too deep",
        "Brackets stand within each other more than twenty deep.",
        "Nobody could check it by eye.",
        "Give parts of it names under `values`.",
        _with("(" * 30 + "speed > 900" + ")" * 30),
    ),
    Page(
        "may-grow-without-end",
        "A kept value multiplied into itself",
        "A value is kept as its own earlier self times itself. In a loop its digits would double at every visit.",
        "The run would become slower and slower until nothing moves.",
        "Count up with + or -, or multiply by a plain number.",
        "readings:\n  speed: {ask: Speed, quantity: other, unit: rpm, range: [0, 5000]}\n"
        "steps:\n  gate:\n    do: Read it.\n    read: [speed]\n    keep: {grown: grown * grown}\n    go: done\n",
    ),
    Page(
        "wrong-kind",
        "A number, a word or a truth where another belongs",
        "A word is compared with a word in quotes, a number with a number; what is true or false stands alone.",
        _WRONG,
        "Write what the message says.",
        _with("speed"),
    ),
    Page(
        "unit-mismatch",
        "Units of different kinds",
        "The two measure different things, such as a flow and a speed.",
        _WRONG,
        "Give the number in a unit of the thing it is compared with.",
        _with("speed > 3 L/min"),
    ),
    Page(
        "temperature-sum",
        "A sum of temperatures",
        "Ten degrees and ten degrees are not twenty: temperatures count from no real zero. They can be compared.",
        _WRONG,
        "Compare the temperature with another.",
        _with("water + water > 50 degC"),
    ),
    Page(
        "row-not-single",
        "A row where one value belongs",
        "The reading has a value for each place, and a guard must come to one truth.",
        _WRONG,
        "Write `any(...)` or `all(...)` round the comparison, or take min, max, mean or spread.",
        _with("flow > 3 L/min"),
    ),
    Page(
        "single-not-row",
        "One value where a row belongs",
        "Functions such as spread and any look along a row; this is a single value.",
        _WRONG,
        "Leave the function away, or name a row.",
        _with("any(speed > 900 rpm)"),
    ),
    Page(
        "rows-dont-fit",
        "Rows over different places",
        "A row over each gap and a row over each carb have no places in common.",
        _WRONG,
        "Take the max, min or mean of one of them.",
        "readings:\n  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}\n"
        "  drop: {ask: Drop, each: gap, unit: L/min, range: [0, 20]}\nsteps:\n  gate:\n    do: Read both.\n"
        "    read: [flow, drop]\n    branch:\n      - {when: any(flow > drop), go: done}\n      - {otherwise: "
        "done}\n",
    ),
    Page(
        "may-divide-by-zero",
        "A division by what may be zero",
        "The range of the divisor holds zero.",
        "With that reading the guard would have no worth.",
        "Multiply instead: `a <= 5 % * b`.",
        _with("spread(flow) / mean(flow) > 5 %"),
    ),
    Page(
        "may-be-missing",
        "A value that may be missing where it is needed",
        "A place may be not taken (`may_lack`), or a screw's count may be lost, and here a number must be there.",
        "Nobody could say how far to turn, or what to set.",
        "Take the reading without `may_lack`, or add `when: known(...)`.",
        "screws:\n  spindle: {each: carb, acts: water, at: plate, in: less water, out: more water, unit: turn, "
        "zero: seated, range: [0, 8]}\nreadings:\n  mark: {ask: Turns on the tag, each: carb, unit: turn, "
        "range: [0, 8], may_lack: true}\n"
        "steps:\n  gate:\n    do: Read the tags.\n    read: [mark]\n    go: turn_it\n  turn_it:\n    do: Open as "
        "shown.\n"
        "    moves: [{screw: spindle, each: carb, to: mark}]\n    go: done\n",
    ),
    Page(
        "out-of-range",
        "A number outside its own range",
        "The number, or what the expression can come to, lies outside what is declared.",
        "It would be refused in the run, or turn a screw past its end.",
        "Correct the number, or widen the range.",
        "settings:\n  apart: {value: 9 L/min, range: [0, 5], source: common practice}\nsteps:\n  gate:\n"
        "    do: 'At most {apart:L/min}.'\n    go: done\n",
    ),
    Page(
        "bad-placeholder",
        "A place in a text that can't be filled in",
        "A text may hold `{name}` or `{name:unit}`, and nothing else in curly brackets.",
        "The technician would read brackets.",
        "Give the expression a name under `values`, and write that name.",
        "steps:\n  gate:\n    do: 'Turn {1 + 1} times.'\n    go: done\n",
    ),
)
