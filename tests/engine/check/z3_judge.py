"""The meaning of guards written down a second time, for z3 (an SMT solver, general purpose): it shares nothing with the
checker but the parsed guard."""

from __future__ import annotations

import z3

from engine.procedure.language.expr import And, Arith, Call, Compare, Name, Not, Number, Or, Text, Truth

#: What may stand beyond its scale; it counts as the top of it then.
OVER = frozenset({"co", "row"})
#: Every word that was met, by the number that stands for it.
_WORDS: dict[str, int] = {}


def word(text):
    """The number of a word, the same in every judge."""
    return _WORDS.setdefault(text, len(_WORDS))


def exact(value):
    """A fraction as z3 knows it."""
    return z3.Q(value.numerator, value.denominator)


class Judge:
    """The meaning of guards written down a second time, for z3: (value, is it there), and a row as a list of them."""

    def __init__(self, types, values, length, barrels=1):
        self.length, self.laws, self.env, self.beyond = length, [], {}, {}
        for name, kind in types.items():
            if name in values:
                continue
            places = {None: 1, "gap": length - 1, "barrel": length * barrels}.get(kind.each, length)
            row = [self._unknown(f"{name}.{i}", kind) for i in range(places)]
            self.env[name] = row if kind.each else row[0]
            if name in OVER:
                self.beyond[name] = [self._beyond(f"{name}.{i}", kind, found) for i, found in enumerate(row)]
        self.values = {n: v.guard.node for n, v in values.items()}

    def _beyond(self, name, kind, found):
        """Whether a place stands beyond its scale: then it is there, and at the top."""
        over = z3.Bool(name + "!")
        self.laws.append(z3.Implies(over, z3.And(found[1], found[0] == exact(kind.high))))
        return over

    def _unknown(self, name, kind):
        there = z3.Bool(name + "?") if kind.holes else z3.BoolVal(True)
        if kind.kind == "bool":
            return z3.Bool(name), there
        if kind.kind == "choice":
            value = z3.Int(name)
            self.laws.append(z3.Or([value == word(c) for c in kind.choices]))
            return value, there
        value = z3.Real(name)
        self.laws += [value >= exact(kind.low)] if kind.low is not None else []
        self.laws += [value <= exact(kind.high)] if kind.high is not None else []
        return value, there

    def truth(self, node):
        match node:
            case Truth():
                return z3.BoolVal(node.value)
            case And():
                return z3.And([self.truth(i) for i in node.items])
            case Or():
                return z3.Or([self.truth(i) for i in node.items])
            case Not():
                return z3.Not(self.truth(node.item))
            case Name():
                return self.env[node.name][0]
            case Compare():
                value, there = self.compare(node)
                return z3.And(value, there)
            case Call(function="over"):
                return z3.Or(self.beyond[node.argument.name])
            case Call(function="known"):
                found = self.number(node.argument)
                return z3.And([t for _, t in found]) if isinstance(found, list) else found[1]
            case Call(function="any"):
                return z3.Or([z3.And(v, t) for v, t in self.places(node.argument)])
            case Call(function="all"):
                return z3.And([z3.Or(v, z3.Not(t)) for v, t in self.places(node.argument)])
        raise AssertionError(node)

    def places(self, node):
        """What is asked along a row, at each of its places: is it so, and is all of it there."""
        match node:
            case And() | Or():
                join = z3.And if isinstance(node, And) else z3.Or
                found = [self.places(i) for i in node.items]
                return [(join([v for v, _ in here]), z3.And([t for _, t in here])) for here in zip(*found, strict=True)]
            case Not():
                return [(z3.Not(v), t) for v, t in self.places(node.item)]
        return self.compare(node)

    def compare(self, node):
        items = [self.number(i) for i in node.items]
        found = None
        for a, op, b in zip(items, node.ops, items[1:], strict=False):
            one = along(
                lambda p, q, op=op: {"<": p < q, "<=": p <= q, ">": p > q, ">=": p >= q, "==": p == q, "!=": p != q}[
                    op
                ],
                a,
                b,
            )
            found = one if found is None else along(z3.And, found, one)
        return found

    def number(self, node):
        match node:
            case Number():
                return exact(node.value), z3.BoolVal(True)
            case Text():
                return z3.IntVal(word(node.value)), z3.BoolVal(True)
            case Name():
                return self.number(self.values[node.name]) if node.name in self.values else self.env[node.name]
            case Arith():
                return along(
                    {
                        "+": lambda p, q: p + q,
                        "-": lambda p, q: p - q,
                        "*": lambda p, q: p * q,
                        "/": lambda p, q: p / q,
                    }[node.op],
                    self.number(node.left),
                    self.number(node.right),
                )
            case Call(function="abs"):
                value = self.number(node.argument)
                return [(z3.Abs(v), t) for v, t in value] if isinstance(value, list) else (z3.Abs(value[0]), value[1])
            case Call(function="count"):
                return z3.Sum(
                    [z3.If(z3.And(v, t), z3.RealVal(1), z3.RealVal(0)) for v, t in self.places(node.argument)]
                ), z3.BoolVal(True)
            case Call() if node.per is None and node.function in ("min", "max", "mean", "spread"):
                row = self.number(node.argument)
                return gather(node.function, row if isinstance(row, list) else [row])
        raise AssertionError(node)

    def can(self, *formulas):
        solver = z3.Solver()
        solver.add(*self.laws, *formulas)
        answer = solver.check()
        assert answer != z3.unknown
        return answer == z3.sat


def along(apply, a, b):
    if isinstance(a, list) or isinstance(b, list):
        n = len(a) if isinstance(a, list) else len(b)
        a, b = (x if isinstance(x, list) else [x] * n for x in (a, b))
        return [along(apply, p, q) for p, q in zip(a, b, strict=True)]
    return apply(a[0], b[0]), z3.And(a[1], b[1])


def gather(function, row):
    if not row:
        return z3.RealVal(0), z3.BoolVal(False)
    there = z3.Or([t for _, t in row])
    if function == "mean":
        total = z3.Sum([z3.If(t, v, z3.RealVal(0)) for v, t in row])
        count = z3.Sum([z3.If(t, z3.IntVal(1), z3.IntVal(0)) for _, t in row])
        value = total
        for n in range(2, len(row) + 1):
            value = z3.If(count == n, total / n, value)
        return value, there
    if function == "spread":
        return gather("max", row)[0] - gather("min", row)[0], there
    value, known = row[0]
    for v, t in row[1:]:
        better = v < value if function == "min" else v > value
        value, known = z3.If(z3.And(t, z3.Or(z3.Not(known), better)), v, value), z3.Or(known, t)
    return value, there
