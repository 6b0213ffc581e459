"""One line of the table: what was measured, the figure, and the goal beside it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """`met` is None where there is no goal."""

    what: str
    value: str
    goal: str = ""
    met: bool | None = None

    def __str__(self) -> str:
        verdict = {True: "met", False: "MISSED", None: ""}[self.met]
        return f"{self.what:<58}{self.value:>20}  {self.goal:<28}{verdict}".rstrip()
