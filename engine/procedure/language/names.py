"""What a guard evaluates over: the names of a frame as it finds them; it holds none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: What a guard evaluates over: the readings, kept values, facts, settings, `advice.output` and `call.result` of a frame
#: by name, the position of a screw as "position:screw", and `PER_CARB`. A number is a Fraction in base units, a choice
#: a str, a fact or comparison a bool, a row a tuple. None, in a row or alone, is missing, and so is a name that is
#: absent. `values` are worked out by the guards themselves.
Names = Mapping[str, Any]

#: The name under which a guard finds how many barrels a carb of this bank has (an int), where the file allows several.
PER_CARB = "#barrels per carb"
