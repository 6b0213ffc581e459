"""How many rows each part of the run screen gets; pure arithmetic, it knows no widget.

What is to be done and the answer to it come first and are whole where that can be; the bank has what is left.
"""

from __future__ import annotations

from typing import NamedTuple


class Rooms(NamedTuple):
    """Rows of each part."""

    card: int
    pad: int
    bank: int
    findings: int


#: What is given up first where all has no room, in a column: (how large the move is drawn, the plot, the bank, the
#: hints). Of a step with a move, and of one that only reads: there a hint says how, and goes before the bank.
TURNING = (
    ("tall", True, True, True),
    ("half", True, True, True),
    ("tall", False, True, True),
    ("half", False, True, True),
    ("half", False, True, False),
    ("half", False, False, True),
    ("half", False, False, False),
    ("small", False, True, False),
    ("small", False, False, False),
)
READING = (
    ("tall", True, True, True),
    ("tall", False, True, True),
    ("tall", False, False, True),
    ("small", False, False, True),
    ("small", False, False, False),
)


def panes(total: int, *wanted: tuple[int, int]) -> list[int]:
    """Share `total` rows among panes in the order of their weight, each (at least, at most): one that does not get its
    least gets nothing; what is left over goes to the first that want more."""
    out = []
    for least, _ in wanted:
        given = least if least <= total else 0
        out.append(given)
        total -= given
    for n, (_, most) in enumerate(wanted):
        more = min(total, most - out[n]) if out[n] else 0
        out[n] += max(0, more)
        total -= max(0, more)
    return out


def share(
    total: int,
    card: tuple[int, int],
    pad: tuple[int, int],
    bank: int,
    findings: tuple[int, int],
    least: int = 3,
    floor: int = 2,
) -> Rooms:
    """Share `total` rows. Each of `card` and `pad` is (rows that it needs, rows that it would like); `findings` is (the
    worst one whole, all of them); `least` is what of the card must be seen where not even its needs have room, `floor`
    what of the answer is never given up: a finding gives way to it, for it is a key away."""
    worst = min(findings[0], max(0, total - 6))
    if floor > 2 and min(card[0], least) + floor + worst > total:
        worst = 0
    left = total - worst
    answer = min(pad[0], max(floor, left - min(card[0], least)))
    told = min(card[0], max(0, left - answer))
    left -= answer + told
    more = min(left, max(0, pad[1] - answer))
    if more + answer == pad[1]:
        answer, left = answer + more, left - more
    shown = min(bank, left)
    # The move is larger than the bank is whole: the bank is the first to give way, as far as three rows.
    wish = max(0, card[1] - told)
    spare = left - (shown if wish <= left - shown else min(shown, 3))
    if 0 < wish <= spare:
        told, left = told + wish, left - wish
    shown = min(bank, left)
    shown = shown if shown >= 2 or shown == bank else 0
    left -= shown
    return Rooms(told, answer, shown, worst + min(left, max(0, findings[1] - worst)))
