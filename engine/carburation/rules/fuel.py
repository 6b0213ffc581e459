"""Fuel: stoichiometry of petrol with ethanol, and what a blend asks of a main jet; it knows no engine.

The base petrol is CH1.85 at 0.745 kg/L, ethanol C2H6O at 0.789 kg/L; blends are by volume. A pump petrol may differ
from that by 0.15 in air-fuel ratio. [derived from atomic masses; base petrol common practice]
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from engine.carburation.rules.refusal import positive, within

#: Atomic masses, g/mol. [published: IUPAC standard atomic weights, abridged]
CARBON, HYDROGEN, OXYGEN = 12.011, 1.008, 15.999
#: Moles of dry air for one of oxygen, and its molar mass g/mol. [published: ISO 2533, oxygen 20.9476 %]
AIR_PER_OXYGEN = 1 / 0.209476
AIR_MASS = 28.9644
#: What a gauge scaled for petrol shows at lambda 1. [published: source S51]
PETROL_SCALE = 14.7

#: Hydrogen for each carbon, and kg/l, of a petrol; kg/l of ethanol. [from memory: textbooks]
PETROL_HC, PETROL_DENSITY = 1.85, 0.745
ETHANOL_DENSITY = 0.789


def stoichiometric_afr(hydrogen: float, oxygen: float = 0.0) -> float:
    """Stoichiometric air-fuel ratio by mass of a fuel CH`hydrogen`O`oxygen` (atoms for one of carbon).

    `(1 + y/4 - z/2)` moles of oxygen for a mole of fuel. [derived; standard balance]
    """
    y = within("hydrogen to carbon ratio", hydrogen, 0.0, 4.0)
    z = within("oxygen to carbon ratio", oxygen, 0.0, 2.0)
    moles = positive("oxygen demand of the fuel", 1 + y / 4 - z / 2)
    return moles * AIR_PER_OXYGEN * AIR_MASS / (CARBON + HYDROGEN * y + OXYGEN * z)


@dataclass(frozen=True, slots=True)
class Blend:
    """A petrol with ethanol: `afr` stoichiometric by mass, `density` kg/L, `hydrogen` and `oxygen` atoms a carbon.

    `area` and `bore` are the factors on a main jet for the same lambda as neat petrol, `lambda_factor` what happens to
    lambda if the jet stays.
    """

    ethanol: float
    afr: float
    density: float
    hydrogen: float
    oxygen: float
    area: float
    bore: float

    @property
    def lambda_factor(self) -> float:
        """Lambda with the jet unchanged, over lambda on neat petrol."""
        return self.area


def blend(ethanol: float) -> Blend:
    """Petrol with `ethanol`, a share by volume of 0 to 1.

    Fuel through a jet goes as `A sqrt(density)` at the same signal, and the need as `1 / AFR`, so the area goes as
    `AFR0 / AFR / sqrt(density / density0)`, the bore as its root. [derived]
    """
    share = within("ethanol share", ethanol, 0.0, 1.0)
    heavy, light = share * ETHANOL_DENSITY, (1 - share) * PETROL_DENSITY
    density = heavy + light
    petrol, spirit = stoichiometric_afr(PETROL_HC), stoichiometric_afr(3.0, 0.5)
    afr = (light * petrol + heavy * spirit) / density
    # Moles of carbon in a litre of each.
    from_petrol = light / (CARBON + HYDROGEN * PETROL_HC)
    from_ethanol = heavy / (CARBON + HYDROGEN * 3 + OXYGEN * 0.5)
    carbon = from_petrol + from_ethanol
    area = petrol / afr / math.sqrt(density / PETROL_DENSITY)
    return Blend(
        share,
        afr,
        density,
        (from_petrol * PETROL_HC + from_ethanol * 3) / carbon,
        from_ethanol * 0.5 / carbon,
        area,
        math.sqrt(area),
    )


def petrol_scale(value: float) -> float:
    """What a gauge scaled in air-fuel ratio for petrol shows at lambda `value`, whatever the fuel: lambda x 14.7."""
    return within("lambda", value, 0.6, 1.6) * PETROL_SCALE
