"""Where a finding points, as rows of the bank; it judges nothing."""

from __future__ import annotations

from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import KINDS, Fault
from engine.evidence import Finding


def points_at(engine: VirtualEngine, finding: Finding, barrel: int) -> bool:
    """Whether a finding points at a barrel (row index): no place (the engine), its carb, the barrel, its cylinders."""
    carb, within = divmod(barrel, engine.per_carb)
    shared = engine.job.bank.cylinders_per_barrel
    for place in finding.where:
        if finding.each == "cylinder":
            if place.carb is not None and (place.carb - 1) // shared == barrel:
                return True
        elif place.carb in (None, carb + 1) and place.barrel in (None, within + 1):
            return True
    return not finding.where


def there(engine: VirtualEngine, fault: Fault, finding: Finding) -> bool:
    """Whether a finding points at a fault's place: no place (the engine), its carb, its barrel or its cylinder.

    A row over cylinders numbers them along the bank, where a row over carbs has the carb.
    """
    if fault.carb is None or not finding.where:
        return True
    per, shared = engine.per_carb, engine.job.bank.cylinders_per_barrel
    first = ((fault.carb - 1) * per + (fault.barrel or 1) - 1) * shared + 1
    for place in finding.where:
        if place.barrel is None and KINDS[fault.kind].at == "cylinder" and per * shared > 1:
            if first <= (place.carb or 0) < first + shared:
                return True
        elif place.carb in (None, fault.carb) and (fault.barrel is None or place.barrel in (None, fault.barrel)):
            return True
    return False
