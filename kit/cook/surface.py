"""What crosses the surface of a link: heat by convection and radiation, water by its vapour pressure; and the temperature at which they balance.

Everything takes floats (SCALAR, quick for one link) or arrays over links (ARRAY).
"""

import math
from dataclasses import KW_ONLY, dataclass, field
from types import SimpleNamespace

import numpy as np

from kit.cook.moist_air import KELVIN, PRESSURE_PA, PSAT_WATER
from kit.cook.stages import Stage, coefficient
from kit.tables import value

SCALAR = SimpleNamespace(exp=math.exp, log=math.log, minimum=min, maximum=max, largest=abs)
ARRAY = SimpleNamespace(
    exp=np.exp,
    log=np.log,
    minimum=np.minimum,
    maximum=np.maximum,
    largest=lambda x: float(np.abs(x).max()),
)
_LEWIS = value("cook_lewis") ** (2 / 3)
_LATENT, _FALL = 1000 * value("cook_latent"), 1000 * value("cook_latent_fall")
_INERT = value("cook_inert_floor") * PRESSURE_PA
_OSWIN = 1 / value("cook_sorption_exponent")
_DRIEST = 0.002
"""share of the first water below which the water activity fades exponentially, so that Newton always has a slope"""


@dataclass(frozen=True)
class Exchange:
    """The surface law of one stage, ready for Newton. Every number a float, or an array over links."""

    h: float
    medium_C: float
    transfer: float
    """kg/(m² s) per unit of ln((P - p_air)/(P - p_surface)); 0 where no water crosses"""
    air_log: float
    """ln(P - p_air)"""
    water_activity: float
    """of the fresh batter; a drying skin falls below it"""
    emission: float
    wall4: float
    _: KW_ONLY
    evaporates: bool = True
    radiates: bool = True
    xp: SimpleNamespace = field(default_factory=lambda: ARRAY)
    """the functions that suit the numbers"""


def water_activity(share_left, fresh, xp=ARRAY):
    """Water activity, and its slope, of a surface with `share_left` of its first water; `fresh` at a share of 1 (Oswin's isotherm through that point)."""
    u = xp.maximum(share_left, _DRIEST)
    salt = (1 - fresh) / fresh * u**-_OSWIN
    activity = 1 / (1 + salt)
    slope = _OSWIN * salt * activity * activity / u
    if xp is SCALAR and share_left > _DRIEST:
        return activity, slope
    fade = xp.exp((share_left - u) * slope / activity)
    return activity * fade, slope * fade


def exchange(
    stage: Stage, diameter_mm, surface_C, water_activity, wide=lambda part: part, xp=ARRAY
) -> Exchange:
    """The law of `stage` for links of this diameter; still-medium coefficients are taken midway between `surface_C` and the medium. `wide` makes every number a float, or an array over links, for `xp`.

    Water vapour: h / (molar heat Le^(2/3)) is the mole flux coefficient (Lewis), and the logarithm carries the Stefan flow.
    """
    typical = (np.asarray(surface_C, float) + stage.medium_C) / 2
    h = coefficient(stage, diameter_mm, typical)
    transfer, air_log = 0.0, 0.0
    if stage.vapour_Pa is not None:
        share = stage.vapour_Pa / PRESSURE_PA
        molar = (1 - share) * value("cook_air_molar_heat") + share * value("cook_vapour_molar_heat")
        transfer = stage.wetness * h * value("h2o_g_per_mol") / 1000 / (molar * _LEWIS)
        air_log = math.log(PRESSURE_PA - min(stage.vapour_Pa, PRESSURE_PA - _INERT))
    wall = stage.medium_C if stage.wall_C is None else stage.wall_C
    emission = stage.emissivity * value("cook_stefan_boltzmann")
    heat = emission, (wall + KELVIN) ** 4
    numbers = map(wide, (h, stage.medium_C, transfer, air_log, water_activity, *heat))
    wet, radiates = bool(np.any(transfer)), stage.emissivity > 0
    return Exchange(*numbers, evaporates=wet, radiates=radiates, xp=xp)


def flux(s, x: Exchange, skin=None, guess=0.0):
    """Heat into the surface at `s` °C (W/m²) and its slope; the water that leaves (kg/m² s; below 0 it condenses) and its slope.

    `skin` (known, gain): the share of its first water that is left at the surface is known - gain times the water flow; the flow is then one Newton
    step from `guess`. Past the point where only 3 % of the surface gas is air, the vapour flow goes on along its tangent: still increasing, never infinite.
    """
    q, slope, water, wetter, xp = x.h * (x.medium_C - s), -x.h, 0.0, 0.0, x.xp
    if x.evaporates:
        c0, c1, c2, c3, c4, c5 = PSAT_WATER
        T = s + KELVIN
        pressure = xp.exp(c0 / T + c1 + T * (c2 + T * (c3 + T * c4)) + c5 * xp.log(T))
        if skin is None:
            pressure = x.water_activity * pressure
        else:
            activity, drier = water_activity(skin[0] - skin[1] * guess, x.water_activity, xp)
            drier = skin[1] * drier * pressure
            pressure = activity * pressure
        rise = pressure * (-c0 / (T * T) + c2 + T * (2 * c3 + T * 3 * c4) + c5 / T)
        air = xp.maximum(PRESSURE_PA - pressure, _INERT)
        over = xp.maximum(pressure - (PRESSURE_PA - _INERT), 0.0)
        water = x.transfer * (x.air_log - xp.log(air) + over / _INERT)
        wetter = x.transfer * rise / air
        if skin is not None:
            stiff = 1 + x.transfer * drier / air
            water, wetter = guess + (water - guess) / stiff, wetter / stiff
        latent = _LATENT - _FALL * s
        q = q - latent * water
        slope = slope - latent * wetter + _FALL * water
    if x.radiates:
        T = s + KELVIN
        q = q + x.emission * (x.wall4 - T**4)
        slope = slope - 4 * x.emission * T**3
    return q, slope, water, wetter


def settle(x: Exchange, guess_C, known=None, gain=None, close=1e-3, skin=None, flow=0.0):
    """Surface where s = known + gain q(s); without `known`, where q(s) = 0: what a skin that stays wet would hold for ever.

    Stops after a correction below `close` K, and below a tenth of the same number in the share of water left. Returns s, and the heat and water flows there.
    Newton is safe here because the function is increasing and bends one way. `skin` and a first `flow`: see `flux`.
    """
    s, xp = guess_C, x.xp
    for turn in range(60):
        q, slope, water, wetter = flux(s, x, skin, flow)
        move = -q / slope if known is None else (s - known - gain * q) / (gain * slope - 1)
        s = s + move
        size = xp.largest(move)
        if skin is not None:
            water, wetter = water + wetter * move, 0.0
            if turn > 2:  # seldom: the isotherm is S-shaped, so a step may not jump past a dry skin
                left, fall = xp.maximum(skin[0] - skin[1] * flow, _DRIEST), skin[1] * (water - flow)
                water = flow + (water - flow) * xp.minimum(1.0, 0.7 * left / xp.maximum(fall, 1e-9))
            size, flow = max(size, 10 * xp.largest(skin[1] * (water - flow))), water
        if size < close:  # the next correction would be about 0.02 of its square
            return s, q + slope * move, water + wetter * move
    # cannot happen for the ranges that the doors let in
    raise ArithmeticError("the surface balance did not settle")
