"""How warm does the batter end; how much ice?

One enthalpy balance of everything in the bowl: meats each at its own temperature (frozen or not), ice, water, dry goods, salt, and the
energy of the knives. It says where a mixed bowl ends; it does not say whether the batter is stable.
"""

from kit.chop.bowl import Bowl
from kit.chop.charge import Charge
from kit.chop.inverse import ice_for
from kit.chop.path import path_by_time
from kit.chop.result import chop

__all__ = ["Bowl", "Charge", "chop", "ice_for", "path_by_time"]
