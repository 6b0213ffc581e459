"""The contracts of the advisers as text, for who writes a procedure: what each takes, gives and finds; it asks none."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from engine.contract import Adviser, Input, Registry
from engine.procedure.language.expr import Type
from engine.procedure.source.problems import did_you_mean
from engine.quantity.units import from_base, write_number

_WIDTH = 110
#: In what order inputs are told, those that must be given before the others.
_KINDS = ("reading", "screw", "value")


def run_advisers(registry: Registry, name: str | None) -> tuple[str, int]:
    """What `evendraw advisers [NAME]` prints, and its exit code: all of them a line each, or one in full."""
    if name is None:
        wide = max(len(n) for n in registry) + 2
        rows = (_wrapped(a.about, a.name.ljust(wide), " " * wide) for a in registry.values())
        return "\n".join([*rows, "", "`evendraw advisers NAME` prints what one takes, gives and finds.", ""]), 0
    if name not in registry:
        return f"There is no adviser '{name}'. {did_you_mean(name, registry, 'There are')}\n", 2
    return "\n".join((*_contract(registry[name]), "")), 0


def _contract(a: Adviser) -> Iterator[str]:
    yield f"{a.name} (version {a.version})"
    yield _wrapped(a.about, "  ", "  ")
    first = sorted(a.inputs.items(), key=lambda one: (one[1].optional, _KINDS.index(one[1].kind)))
    yield from _table("Takes (`with`)", ((n + ("" if i.optional else " *"), _input(i)) for n, i in first))
    if any(not i.optional for i in a.inputs.values()):
        yield "  * must be given"
    looked_up = ((q, r.about + (" (a file should read it somewhere)" if r.wanted else "")) for q, r in a.reads.items())
    yield from _table("Looks up by `quantity` in all that was read so far", looked_up)
    yield from _table("Gives (NAME.output)", ((n, f"{o.about} [{_kind(o.type)}]") for n, o in a.outputs.items()))
    if a.makes:
        yield ""
        yield f"A later step makes its {' and '.join(sorted(a.makes))} with `make: NAME`."
    yield from _table("May find", ((code, f"{r.severity}: {r.why}") for code, r in a.findings.items()))
    yield from _table("No longer takes", a.retired.items())


def _table(title: str, rows: Iterable[tuple[str, str]]) -> Iterator[str]:
    table = list(rows)
    if not table:
        return
    wide = max(len(name) for name, _ in table) + 4
    yield ""
    yield title
    for name, text in table:
        yield _wrapped(text, f"  {name}".ljust(wide), " " * wide)


def _wrapped(text: str, first: str, rest: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def _input(i: Input) -> str:
    if i.kind == "reading":
        what = f"a reading of {' or '.join(i.quantities)}, {' or '.join(_row(e) for e in i.each)}"
    elif i.kind == "screw":
        what = f"a screw that acts on {' or '.join(i.acts)} at {' or '.join(i.at)}, {' or '.join(map(_row, i.each))}"
    else:
        what = _kind(i.type) if i.type is not None else "an expression"
    return f"{i.about} [{what}]"


def _row(each: str | None) -> str:
    return {None: "a single value", "bank": "one for the bank"}.get(each, f"each {each}")


def _kind(t: Type) -> str:
    """A type in words: `number in kg/h, 0 to 3`, `even, turn or read again`, `yes or no`."""
    if t.kind == "choice":
        said = " | ".join(t.choices)
    elif t.kind == "bool":
        said = "yes or no"
    else:
        low, high = (None if v is None else write_number(from_base(v, t.unit or "")) for v in (t.low, t.high))
        said = f"number{f' in {t.unit}' if t.unit else ''}" + (f", {low} to {high}" if low is not None else "")
    return f"{said}, {_row(t.each)}" if t.each else said
