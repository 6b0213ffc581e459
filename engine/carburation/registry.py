"""Every adviser that procedures may call, by name; each stands with its contract in the module of its name.

Verdicts are plain words and never absent. An adviser in a loop says 'turn' while it has moves to make; each says in its
`about` how many answers it may take, so that a file can set its limit.
"""

from __future__ import annotations

from dataclasses import replace

from engine.carburation.advisers.air_balance import air_balance
from engine.carburation.advisers.body_balance import body_balance
from engine.carburation.advisers.exhaust_gas import exhaust_gas
from engine.carburation.advisers.idle_jets import idle_jets
from engine.carburation.advisers.idle_mixture import idle_mixture
from engine.carburation.advisers.idle_speed import idle_speed
from engine.carburation.advisers.jet_checks import jet_checks
from engine.carburation.advisers.jet_numbers import jet_numbers
from engine.carburation.advisers.jet_swap import jet_swap
from engine.carburation.advisers.last_visit import last_visit
from engine.carburation.advisers.linkage_balance import linkage_balance
from engine.carburation.advisers.main_circuit import main_circuit
from engine.carburation.advisers.sizing import sizing
from engine.carburation.sentences import sentences
from engine.contract import Adviser, Registry

#: In the order of the work: the idle routine, then sizing, the main circuit and exhaust gas.
ALL: tuple[Adviser, ...] = (
    air_balance,
    body_balance,
    idle_speed,
    idle_mixture,
    idle_jets,
    jet_checks,
    jet_swap,
    jet_numbers,
    last_visit,
    linkage_balance,
    sizing,
    main_circuit,
    exhaust_gas,
)
ADVISERS: dict[str, Adviser] = {a.name: replace(a, sentences=sentences) for a in ALL}


def shipped() -> Registry:
    """The advisers that come with the program, by name."""
    return ADVISERS
