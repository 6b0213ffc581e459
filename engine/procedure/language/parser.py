"""The text of a guard to its tree: a strict subset of Python's expressions with unit suffixes; it knows no names.

    guard   = and { "or" and }          and = not { "and" not }         not = "not" not | comparison
    comparison = sum { ("<" | "<=" | ">" | ">=" | "==" | "!=") sum }    sum = term { ("+" | "-") term }
    term    = factor { ("*" | "/") factor }                             factor = ("-" | "+") factor | atom
    atom    = number [unit] | 'text' | True | False | name [. name] | "(" guard ")"
            | function "(" guard ["," "per" ":" "carb"] ")"

A number may be 4, 0.5 or a mechanic's 1 1/4; with a unit also 1/4 turn, which is one number there and a division
elsewhere (of the same worth). Everything else means what it means in Python. Caps keep any text cheap: 300 characters,
depth 20.
"""

from __future__ import annotations

from fractions import Fraction
from typing import cast

from engine.procedure.language.expr import (
    FUNCTIONS,
    And,
    Arith,
    Call,
    Compare,
    Comparison,
    Each,
    Name,
    Node,
    Not,
    Number,
    Or,
    Sign,
    Text,
    Truth,
)
from engine.procedure.language.lexer import PYTHON_ONLY, GuardFault, Token, tokens_of
from engine.procedure.source.problems import did_you_mean

LONGEST = 300
DEPTH = 20


def parse(text: str) -> Node:
    """The tree of a guard, untyped. Raises `GuardFault` with the place in the text."""
    if len(text) > LONGEST:
        raise GuardFault(
            "guard-too-long",
            f"The expression has {len(text)} characters; {LONGEST} are the most.",
            0,
            len(text),
            "Give a part of it a name under `values`.",
        )
    tokens = tokens_of(text)
    parser = _Parser(text, tokens)
    node = parser.either(0)
    rest = parser.here
    if rest.kind != "end":
        raise _unexpected(rest)
    return node


def _unexpected(token: Token) -> GuardFault:
    if token.kind == "end":
        return GuardFault("bad-guard", "The expression stops too early.", max(token.start - 1, 0), token.end)
    hint = ""
    if token.text == "is":
        return GuardFault("bad-guard", "`is` does not fit here.", token.start, token.end, "Write `==`.", "==")
    if token.text in PYTHON_ONLY:
        hint = "There are and, or, not, comparisons, + - * / and the functions " + ", ".join(FUNCTIONS) + "."
    elif token.text == ",":
        hint = "Write decimals with a point: 0.5."
    return GuardFault("bad-guard", f"`{token.text}` does not fit here.", token.start, token.end, hint)


class _Parser:
    """Recursive descent over the tokens; every method returns a node and stands on the next token."""

    def __init__(self, text: str, tokens: list[Token]) -> None:
        self.text = text
        self.tokens = tokens
        self.at = 0

    @property
    def here(self) -> Token:
        return self.tokens[self.at]

    def take(self) -> Token:
        token = self.tokens[self.at]
        self.at += 1
        return token

    def accept(self, *texts: str) -> Token | None:
        token = self.here
        return self.take() if token.kind in ("op", "keyword") and token.text in texts else None

    def expect(self, text: str) -> Token:
        token = self.accept(text)
        if token is None:
            found = self.here
            if found.kind == "end":
                raise GuardFault(
                    "bad-guard",
                    f"A `{text}` is missing at the end.",
                    max(found.start - 1, 0),
                    found.end,
                    "Within `{ }`, an expression with a comma stands in quotes.",
                )
            raise _unexpected(found)
        return token

    def deeper(self, depth: int) -> int:
        if depth >= DEPTH:
            raise GuardFault(
                "guard-too-deep",
                f"Nested more than {DEPTH} deep.",
                self.here.start,
                self.here.end,
                "Give a part of it a name under `values`.",
            )
        return depth + 1

    def either(self, depth: int) -> Node:
        items = [self.both(depth)]
        while self.accept("or"):
            items.append(self.both(depth))
        return items[0] if len(items) == 1 else Or(items[0].start, items[-1].end, tuple(items))

    def both(self, depth: int) -> Node:
        items = [self.inverse(depth)]
        while self.accept("and"):
            items.append(self.inverse(depth))
        return items[0] if len(items) == 1 else And(items[0].start, items[-1].end, tuple(items))

    def inverse(self, depth: int) -> Node:
        sign = self.accept("not")
        if sign is None:
            return self.comparison(depth)
        item = self.inverse(self.deeper(depth))
        return Not(sign.start, item.end, item)

    def comparison(self, depth: int) -> Node:
        items = [self.sum(depth)]
        ops: list[Comparison] = []
        while token := self.accept("<", "<=", ">", ">=", "==", "!="):
            ops.append(cast(Comparison, token.text))
            items.append(self.sum(depth))
        return items[0] if not ops else Compare(items[0].start, items[-1].end, tuple(ops), tuple(items))

    def sum(self, depth: int) -> Node:
        node = self.term(depth)
        while token := self.accept("+", "-"):
            right = self.term(depth)
            node = Arith(node.start, right.end, cast(Sign, token.text), node, right)
        return node

    def term(self, depth: int) -> Node:
        node = self.factor(depth)
        while token := self.accept("*", "/"):
            right = self.factor(depth)
            node = Arith(node.start, right.end, cast(Sign, token.text), node, right)
        return node

    def factor(self, depth: int) -> Node:
        sign = self.accept("-", "+")
        if sign is None:
            return self.atom(depth)
        item = self.factor(self.deeper(depth))
        if sign.text == "+":
            return item
        if isinstance(item, Number):
            return Number(sign.start, item.end, -item.value, item.unit)
        return Arith(sign.start, item.end, "-", Number(sign.start, sign.end, Fraction(0)), item)

    def atom(self, depth: int) -> Node:
        token = self.here
        if token.kind == "number":
            self.take()
            assert token.value is not None
            return Number(token.start, token.end, token.value, token.unit)
        if token.kind == "text":
            self.take()
            return Text(token.start, token.end, token.text)
        if token.text in ("True", "False"):
            self.take()
            return Truth(token.start, token.end, token.text == "True")
        if token.kind == "word":
            return self.word(depth)
        if self.accept("("):
            node = self.either(self.deeper(depth))
            self.expect(")")
            return node
        raise _unexpected(token)

    def word(self, depth: int) -> Node:
        token = self.take()
        if self.here.text != "(" or self.here.kind != "op":
            if token.text in FUNCTIONS:
                raise GuardFault(
                    "bad-guard", f"`{token.text}` is a function.", token.start, token.end, f"Write `{token.text}(...)`."
                )
            if token.text in PYTHON_ONLY:
                raise _unexpected(token)
            return Name(token.start, token.end, token.text)
        if token.text not in FUNCTIONS:
            raise GuardFault(
                "unknown-function",
                f"There is no function `{token.text}`.",
                token.start,
                token.end,
                did_you_mean(token.text, FUNCTIONS) or f"There are {', '.join(FUNCTIONS)}.",
            )
        self.take()
        argument = self.either(self.deeper(depth))
        per = self.grouping() if self.accept(",") else None
        end = self.expect(")")
        return Call(token.start, end.end, token.text, argument, per)

    def grouping(self) -> Each:
        if self.here.text != "per":
            raise GuardFault(
                "bad-guard",
                "A function takes one thing, and perhaps `per: carb`.",
                self.here.start,
                self.here.end,
                "Compare with `and` or `or`.",
            )
        self.take()
        self.expect(":")
        token = self.take()
        if token.text != "carb":
            raise GuardFault(
                "bad-guard",
                "Rows are grouped `per: carb` and no other way.",
                token.start,
                max(token.end, token.start + 1),
            )
        return "carb"
