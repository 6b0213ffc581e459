"""The text of a guard to its words: numbers with their units, names, texts, signs; it knows no grammar."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from engine.procedure.source.problems import did_you_mean
from engine.quantity.units import UNITS


class GuardFault(Exception):
    """A text that is no guard, or means nothing: a code, what is wrong, a hint, and where in the text."""

    def __init__(self, code: str, message: str, start: int, end: int, hint: str = "", fix: str | None = None) -> None:
        super().__init__(message)
        self.code, self.message, self.start, self.end, self.hint, self.fix = code, message, start, end, hint, fix


@dataclass(frozen=True, slots=True)
class Token:
    """One word of a guard; `kind` is number, word, keyword, text, op or end."""

    kind: str
    text: str
    start: int
    end: int
    value: Fraction | None = None
    unit: str | None = None


_UNIT_NAMES = sorted((u for u in UNITS if u), key=len, reverse=True)
_UNIT = re.compile("|".join(re.escape(u) + (r"(?![\w])" if u[-1].isalnum() else "") for u in _UNIT_NAMES))
_FRACTION = re.compile(r"(\d{1,18})\s*/\s*(\d{1,18})(?![\w.])", re.ASCII)
_MIXED = re.compile(r"(\d{1,18})\s+(\d{1,18})\s*/\s*(\d{1,18})(?![\w.])", re.ASCII)
_DECIMAL = re.compile(r"\d+(?:\.\d*)?|\.\d+", re.ASCII)
_WORD = re.compile(r"[^\W\d]\w*(?:\.[^\W\d]\w*)?")
_QUOTED = re.compile(r"'[^'\\]*'|\"[^\"\\]*\"")
_OPERATOR = re.compile(r"<=|>=|==|!=|[-+*/<>(),:]")
_KEYWORDS = frozenset({"and", "or", "not", "True", "False"})
#: Words of Python that this language leaves out.
PYTHON_ONLY = frozenset({"if", "else", "in", "is", "for", "lambda"})
_WORDS_FOR = {"&&": "and", "||": "or", "!": "not", "=<": "<=", "=>": ">=", "=": "==", "<>": "!=", "≤": "<=", "≥": ">="}
_WORDS_FOR |= {"≠": "!=", "%%": "%"}


def tokens_of(text: str) -> list[Token]:
    """The words of a guard, an "end" last. Raises `GuardFault`."""
    tokens: list[Token] = []
    at = 0
    while True:
        while at < len(text) and text[at] in " \t":
            at += 1
        if at >= len(text):
            tokens.append(Token("end", "", len(text), len(text)))
            return tokens
        token = _token(text, at, tokens)
        tokens.append(token)
        at = token.end


def _token(text: str, at: int, before: list[Token]) -> Token:
    char = text[at]
    if (char.isascii() and char.isdigit()) or (char == "." and text[at + 1 : at + 2].isdecimal()):
        return _number(text, at, before)
    if match := _WORD.match(text, at):
        word = match.group()
        return Token("keyword" if word in _KEYWORDS else "word", word, at, match.end())
    if match := _QUOTED.match(text, at):
        return Token("text", match.group()[1:-1], at, match.end())
    if char in "'\"":
        raise GuardFault("bad-guard", "A quote is opened and not closed.", at, len(text), "Close it likewise.")
    if match := _OPERATOR.match(text, at):
        if text[at : at + 2] in ("//", "**"):
            raise GuardFault(
                "bad-guard", f"`{text[at : at + 2]}` is no operator here.", at, at + 2, "There are + - * /."
            )
        return Token("op", match.group(), at, match.end())
    for sign, meant in _WORDS_FOR.items():
        if text.startswith(sign, at):
            raise GuardFault(
                "bad-guard", f"`{sign}` is no operator here.", at, at + len(sign), f"Write `{meant}`.", meant
            )
    raise GuardFault("bad-guard", f"The sign `{char}` has no meaning in an expression.", at, at + 1)


def _number(text: str, at: int, before: list[Token]) -> Token:
    if match := _MIXED.match(text, at):
        whole, top, bottom = (int(g) for g in match.groups())
        return _with_unit(text, at, match.end(), Fraction(whole), (top, bottom))
    if match := _FRACTION.match(text, at):
        unit = _unit_at(text, match.end())
        if unit is not None:
            if before and before[-1].text == "/":
                raise GuardFault(
                    "bad-guard", "What is divided by what here can be read two ways.", at, match.end(), "Put brackets."
                )
            return _with_unit(text, at, match.end(), Fraction(0), (int(match.group(1)), int(match.group(2))))
    match = _DECIMAL.match(text, at)
    assert match is not None
    if len(match.group()) > 19:
        raise GuardFault("bad-number", "This number has more digits than any instrument.", at, match.end(), "Round it.")
    rest = text[match.end() : match.end() + 1]
    if rest in ("e", "E") and text[match.end() + 1 : match.end() + 2].isdigit():
        raise GuardFault(
            "bad-number", "Powers of ten are not written like this here.", at, match.end() + 2, "Write the number out."
        )
    return _with_unit(text, at, match.end(), Fraction(match.group().rstrip(".")), None)


def _with_unit(text: str, at: int, end: int, whole: Fraction, part: tuple[int, int] | None) -> Token:
    if part is not None:
        if part[1] == 0:
            raise GuardFault("may-divide-by-zero", "This number divides by zero.", at, end)
        whole += Fraction(*part)
    unit = _unit_at(text, end)
    if unit is not None:
        return Token("number", text[at : unit[1]], at, unit[1], whole, unit[0])
    follows = _WORD.match(text, end + len(text[end:]) - len(text[end:].lstrip(" ")))
    if follows and follows.group() not in _KEYWORDS | PYTHON_ONLY | {"per"}:
        word = follows.group()
        raise GuardFault(
            "unknown-unit",
            f"`{word}` after a number is no unit that the program knows.",
            follows.start(),
            follows.end(),
            did_you_mean(word, UNITS),
        )
    return Token("number", text[at:end], at, end, whole, None)


def _unit_at(text: str, end: int) -> tuple[str, int] | None:
    while end < len(text) and text[end] == " ":
        end += 1
    match = _UNIT.match(text, end)
    return (match.group(), match.end()) if match else None
