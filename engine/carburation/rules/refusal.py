"""Refusals: one error whose message is a sentence for the screen, and the checks that raise it; it knows no trade."""

from __future__ import annotations

import math


class Refused(ValueError):
    """An input that no sound engine or meter can give; the message is a sentence for the screen and says what to do."""


def _tail(hint: str) -> str:
    return f" {hint}" if hint else ""


def _number(name: str, value: float, hint: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if math.isnan(number):
        raise Refused(f"{name} is not a number.{_tail(hint)}")
    return number


def within(what: str, value: float, low: float, high: float, unit: str = "", hint: str = "") -> float:
    """Return `value` as a float if it is a finite number within [low, high]; else refuse with a sentence naming `what`.

    `hint` is a further sentence: what the technician should do about it.
    """
    name = what[:1].upper() + what[1:]
    number = _number(name, value, hint)
    shown = f" {unit}" if unit else ""
    if math.isinf(number) or not low <= number <= high:
        raise Refused(f"{name} of {number:g}{shown} is outside {low:g} to {high:g}{shown}.{_tail(hint)}")
    return number


def positive(what: str, value: float, unit: str = "", hint: str = "") -> float:
    """Return `value` as a float if it is finite and above zero; else refuse with a sentence naming `what`."""
    name = what[:1].upper() + what[1:]
    number = _number(name, value, hint)
    if math.isinf(number) or number <= 0:
        shown = f" {unit}" if unit else ""
        raise Refused(f"{name} of {number:g}{shown} must be a figure above zero.{_tail(hint)}")
    return number
