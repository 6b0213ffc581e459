"""A shop's settings held against the files that are checked, as a run would hold them; it reads no job."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

from engine.procedure.given import given, in_words
from engine.procedure.pairs import pairs
from engine.procedure.program import Procedure, Program, Setting
from engine.procedure.source.problems import Problem, did_you_mean
from engine.procedure.source.spans import Source
from engine.procedure.source.tree import Map, Scalar, read_tree

#: Keys of the file that hold something else: what the shop says of itself, and the units that it is shown.
ABOUT = frozenset({"shop", "units"})
WHY = "A run would refuse it when it is started."


def problems(source: Source, programs: Iterable[Program], known: frozenset[str]) -> list[Problem]:
    """What is wrong with a shop's settings: names that no file has (`known` are those of all files), and numbers that
    the files of `programs` can't be given."""
    if all(line.lstrip()[:1] in ("", "#") for line in source.text.splitlines()):
        return []
    tree, found = read_tree(source, "tolerance: 4 %")
    if tree is None:
        return found
    files = {name: file for program in programs for name, file in program.files.items()}
    for key, value in tree.items():
        if key in ABOUT:
            continue
        if not isinstance(value, Scalar):
            found.append(_problem(source, "wrong-shape", key, f"`{key}` needs one value, such as `{key}: 0.5 kg/h`."))
        elif key not in known:
            hint = did_you_mean(key, sorted(known))
            found.append(_problem(source, "unknown-setting", key, f"No procedure has a setting `{key}`.", hint))
    return [*found, *dict.fromkeys(p for file in files.values() for p in _of(source, tree, file))]


def _problem(source: Source, code: str, at: Scalar, message: str, hint: str = "") -> Problem:
    return Problem(code, source.path, at.span, message, WHY, hint)


def _of(source: Source, tree: Map, file: Procedure) -> Iterator[Problem]:
    """The settings of one file that the shop gives, and the pairs in which they stand."""
    shop: dict[str, tuple[Scalar, Fraction]] = {}
    for setting in file.settings.values():
        for key, value in tree.items():
            if key in (setting.name, f"{file.name}.{setting.name}") and isinstance(value, Scalar):
                try:
                    shop[setting.name] = key, given(setting, value)
                except ValueError as fault:
                    yield _problem(source, "out-of-range", key, f"`{key}: {value}` {fault}")
    for low, high in pairs(file):
        mine = next((shop[s.name][0] for s in (low, high) if s.name in shop), None)
        if mine is None:
            continue
        for a, b in _together(low, high, {n: v for n, (_, v) in shop.items()}):
            if a > b:
                yield _problem(
                    source,
                    "upside-down",
                    mine,
                    f"`{low.name}` is {in_words(a, low)}, above `{high.name}`, {in_words(b, high)}.",
                    "Correct one of them.",
                )
                break


def _together(low: Setting, high: Setting, shop: Mapping[str, Fraction]) -> Iterator[tuple[Fraction, Fraction]]:
    """The values that two settings have at once, the shop's in place of the file's."""
    one, other = (_values(s, shop) for s in (low, high))
    if low.by is not None and low.by == high.by:
        yield from ((one.get(k, one.get("", Fraction(0))), other.get(k, other.get("", Fraction(0)))) for k in low.table)
    else:
        yield from ((a, b) for a in one.values() for b in other.values())


def _values(setting: Setting, shop: Mapping[str, Fraction]) -> Mapping[str, Fraction]:
    """The values of a setting by the choices of its table; one under "" where there is one alone."""
    alone = shop.get(setting.name, setting.value)
    return {"": alone} if alone is not None else setting.table
