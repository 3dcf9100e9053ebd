"""What heat, density and conductivity does a food of this composition have at this temperature?

A ground-level room shared by chop and cook: a Makeup of mass fractions, then vectorised functions of it and of °C.
Range −40 to 150 °C. Mixing by composition is trusted to about 5 % for heat and density and 15 % for conductivity; measured meat
batters take up more heat than this as fat melts and protein unfolds (see `kit.properties.fat`).
"""

from kit.properties.makeup import Makeup
from kit.properties.mixture import heat_kJ_per_kg

__all__ = ["Makeup", "heat_kJ_per_kg"]
