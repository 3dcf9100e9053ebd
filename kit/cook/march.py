"""How does the heat move in? Radial finite volumes, an L-stable step, and the surface solved exactly.

The link is cut into rings around its axis. The ring network has as many shapes ("modes") as nodes; with constant properties
each shape fades at its own rate, and only the heat that crosses the surface ties them together. In these modes a step costs a
few sums, for one link or a thousand:

    dy_j/dt = -(a / R²) lambda_j y_j + beta_j q / (rho c R),     surface = sum of y_j,     y_0 = mean temperature

Time: the two-stage, stiffly accurate SDIRK of order 2 (gamma = 1 - 1/sqrt 2). In each stage the surface temperature is the
root of one increasing function, s - known - gain q(s) = 0, found by Newton to 1e-7 K. The heat that enters the rings is the heat that
is booked, so the energy balance closes to rounding.
"""
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np

from kit.cook.moist_air import KELVIN, PRESSURE_PA, PSAT_WATER
from kit.cook.stages import Stage, coefficient
from kit.tables import value

GAMMA = 1 - 1 / math.sqrt(2)
RINGS, STEP_S = 24, 30.0
_SCALAR = SimpleNamespace(exp=math.exp, log=math.log, minimum=min, maximum=max, largest=abs)
_ARRAY = SimpleNamespace(exp=np.exp, log=np.log, minimum=np.minimum, maximum=np.maximum, largest=lambda x: float(np.abs(x).max()))
_LEWIS = value("cook_lewis") ** (2 / 3)
_LATENT, _FALL = 1000 * value("cook_latent"), 1000 * value("cook_latent_fall")
_INERT = value("cook_inert_floor") * PRESSURE_PA


@dataclass(frozen=True)
class Modes:
    """Shapes of the ring network of one radius: `shapes[i, j]` is mode j at node i, 1 at the surface."""

    rings: int
    decay: np.ndarray
    drive: np.ndarray
    shapes: np.ndarray
    volumes: np.ndarray
    """share of the cross-section that each node stands for"""
    start: np.ndarray
    """a flat start of 1 K in modes: 1 for the mean, 0 for the rest"""

    def at(self, radius_fraction) -> np.ndarray:
        """Mode values at radius fractions (k,) straight in r² between nodes: (modes, k)."""
        nodes = np.linspace(0, 1, self.rings + 1) ** 2
        where = np.clip(np.atleast_1d(np.asarray(radius_fraction, float)), 0, 1) ** 2
        return np.stack([np.interp(where, nodes, shape) for shape in self.shapes.T])


@lru_cache(maxsize=16)
def modes(rings: int = RINGS) -> Modes:
    """Nodes at r = 0 ... R, each with the ring of material nearer to it than to its neighbours."""
    n = rings
    edges = np.concatenate([[0], (np.arange(n) + 0.5) / n, [1]])
    volumes = np.diff(edges ** 2) / 2
    link = edges[1:-1] * n                     # conductance between neighbours, per radian, k = 1 and R = 1
    stiff = np.zeros((n + 1, n + 1))
    inner = np.arange(n)
    stiff[inner, inner] += link
    stiff[inner + 1, inner + 1] += link
    stiff[inner, inner + 1] -= link
    stiff[inner + 1, inner] -= link
    root = np.sqrt(volumes)
    decay, vectors = np.linalg.eigh(stiff / np.outer(root, root))
    decay[0] = 0.0
    surface = vectors[-1] / root[-1]
    heard = np.abs(surface) > 1e-12 * np.abs(surface).max()    # a shape that lives round the axis alone never hears the surface
    shapes = (vectors / root[:, None])[:, heard] / surface[heard]
    shapes[:, 0] = 1.0
    return Modes(n, decay[heard], surface[heard] ** 2, shapes, 2 * volumes, np.eye(n + 1)[0][heard])


@dataclass(frozen=True)
class Exchange:
    """The surface law of one stage, ready for Newton. Every field a float, or an array over links."""

    h: float
    medium_C: float
    transfer: float
    """kg/(m² s) per unit of ln((P - p_air)/(P - p_surface)); 0 where no water crosses"""
    air_log: float
    """ln(P - p_air)"""
    water_activity: float
    emission: float
    wall4: float


def exchange(stage: Stage, diameter_mm, surface_C, water_activity) -> Exchange:
    """The law of `stage` for links of this diameter; still-medium coefficients are taken midway between `surface_C` and the medium.

    Water vapour: h / (molar heat Le^(2/3)) is the mole flux coefficient (Lewis), and the logarithm carries the Stefan flow.
    """
    typical = (np.asarray(surface_C, float) + stage.medium_C) / 2
    h = coefficient(stage, diameter_mm, typical)
    transfer, air_log = 0.0, 0.0
    if stage.vapour_Pa is not None:
        share = stage.vapour_Pa / PRESSURE_PA
        molar = (1 - share) * value("cook_air_molar_heat") + share * value("cook_vapour_molar_heat")
        transfer = stage.wetness * h * value("cook_water_molar_mass") / (molar * _LEWIS)
        air_log = math.log(PRESSURE_PA - min(stage.vapour_Pa, PRESSURE_PA - _INERT))
    wall = stage.medium_C if stage.wall_C is None else stage.wall_C
    emission = stage.emissivity * value("cook_stefan_boltzmann")
    return Exchange(h, stage.medium_C, transfer, air_log, water_activity, emission, (wall + KELVIN) ** 4)


def flux(s, x: Exchange, xp=_ARRAY, evaporates=True, radiates=True):
    """Heat into the surface at `s` °C (W/m²) and its slope; the water that leaves (kg/m² s; below 0 it condenses) and its slope.

    Past the point where only 3 % of the surface gas is air, the vapour flow goes on along its tangent: still increasing, never infinite.
    """
    q, slope, water, wetter = x.h * (x.medium_C - s), -x.h, 0.0, 0.0
    if evaporates:
        c0, c1, c2, c3, c4, c5 = PSAT_WATER
        T = s + KELVIN
        pressure = x.water_activity * xp.exp(c0 / T + c1 + T * (c2 + T * (c3 + T * c4)) + c5 * xp.log(T))
        rise = pressure * (-c0 / (T * T) + c2 + T * (2 * c3 + T * 3 * c4) + c5 / T)
        air = xp.maximum(PRESSURE_PA - pressure, _INERT)
        over = xp.maximum(pressure - (PRESSURE_PA - _INERT), 0.0)
        water = x.transfer * (x.air_log - xp.log(air) + over / _INERT)
        wetter = x.transfer * rise / air
        latent = _LATENT - _FALL * s
        q = q - latent * water
        slope = slope - latent * wetter + _FALL * water
    if radiates:
        T = s + KELVIN
        q = q + x.emission * (x.wall4 - T ** 4)
        slope = slope - 4 * x.emission * T ** 3
    return q, slope, water, wetter


def settle(x: Exchange, guess_C, xp=_ARRAY, evaporates=True, radiates=True, known=None, gain=None, close=1e-3):
    """Surface where s = known + gain q(s); without `known`, where q(s) = 0: what the stage would hold for ever.

    Stops after a correction below `close`. Returns s, and the heat and water flows there.
    Newton is safe here because the function is increasing and bends one way.
    """
    s = guess_C
    for _ in range(60):
        q, slope, water, wetter = flux(s, x, xp, evaporates, radiates)
        move = -q / slope if known is None else (s - known - gain * q) / (gain * slope - 1)
        s = s + move
        size = xp.largest(move)
        if size < close:                       # the next correction would be about 0.02 of its square
            return s, q + slope * move, water + wetter * move
    raise ArithmeticError("the surface balance did not settle")  # cannot happen for the ranges that the doors let in


@dataclass(frozen=True)
class Run:
    """A march: one row per time, links along the last axis where there are many."""

    seconds: np.ndarray
    probes_C: np.ndarray
    """(times, places) or (times, places, links)"""
    mean_C: np.ndarray
    heat_J_per_m2: np.ndarray
    """taken up through the surface since the start"""
    water_kg_per_m2: np.ndarray
    """net water that left through the surface since the start, condensate counted as gained"""
    evaporated_kg_per_m2: np.ndarray
    """(stages,) or (stages, links): water that left the link itself in each stage, after any condensed film"""
    exchanges: tuple[Exchange, ...]
    first_rows: tuple[int, ...]
    """row at which each stage starts; the last entry is the last row"""


def steps_of(seconds: float, step_s: float) -> list[float]:
    """Short steps first, where a new medium bites, then equal ones; they sum to `seconds`."""
    early = [step_s * share for share in (0.02, 0.03, 0.05, 0.1, 0.2, 0.2, 0.2, 0.2, 0.5, 0.5, 0.5, 0.5)]
    if seconds <= 2 * sum(early):
        count = max(4, math.ceil(seconds / (0.2 * step_s)))
        return [seconds / count] * count
    left = seconds - sum(early)
    count = math.ceil(left / step_s - 1e-9)
    return early + [left / count] * count


def march(link, stages, *, places=(0.0, 0.5, 1.0), place_weights=None, rings: int = RINGS, step_s: float = STEP_S, rng=None) -> Run:
    """Take `link` (floats, or arrays over links) through `stages` from a flat start.

    `places` are radius fractions, the same for all links; `place_weights` (modes, links) adds one more place of each link's own.
    `rng` makes stages with a wander unsteady (needs many links). Raises nothing of its own: the doors check the input.
    """
    net = modes(rings)
    radius = np.asarray(link.diameter_mm, float) / 2000
    many = _width(link, stages)
    xp = _SCALAR if many is None else _ARRAY
    shape = (slice(None),) if many is None else (slice(None), None)
    wide = (lambda a: float(a)) if many is None else (lambda a: np.broadcast_to(np.asarray(a, float), (many,)))
    volumetric = np.asarray(link.density_kg_per_m3, float) * link.heat_capacity_J_per_kgK
    rate = net.decay[shape] * wide(link.conductivity_W_per_mK / volumetric / radius ** 2)
    push = net.drive[shape] * wide(1 / (volumetric * radius))
    y = net.start[shape] * wide(link.start_C)
    view = net.at(places).T
    ones = np.ones(len(net.decay))
    dot = np.ndarray.dot if many is None else (lambda a, b: np.einsum("mn,mn->n", a, b))
    plans = [steps_of(stage.seconds, step_s) for stage in stages]
    rows = sum(map(len, plans)) + 1
    tail = () if many is None else (many,)
    own = 0 if place_weights is None else 1
    history = np.empty((rows, len(net.decay))) if many is None else np.empty((rows, len(places) + own, many))
    means, heats, waters, times = np.empty((rows, *tail)), np.zeros((rows, *tail)), np.zeros((rows, *tail)), np.zeros(rows)
    film, film_cap = wide(0.0), value("cook_film_cap")
    heat, net_water = wide(0.0), wide(0.0)
    evaporated, laws, first_rows = [], [], []

    def record(row):
        if many is None:
            history[row] = y
        else:
            np.matmul(view, y, out=history[row, :len(places)])
            if own:
                history[row, -1] = dot(place_weights, y)
        means[row], heats[row], waters[row] = y[0], heat, net_water

    record(0)
    row, surface, now, share = 0, wide(link.start_C), 0.0, (1 - GAMMA) / GAMMA
    for stage, plan in zip(stages, plans):
        law = exchange(stage, link.diameter_mm, y[0], link.water_activity)
        law = Exchange(*(wide(part) for part in (law.h, law.medium_C, law.transfer, law.air_log, law.water_activity, law.emission, law.wall4)))
        evaporates, radiates = stage.vapour_Pa is not None and bool(np.any(law.transfer)), stage.emissivity > 0
        swings = _swings(stage, plan, many, rng)
        laws.append(law)
        first_rows.append(row)
        lost, width, stride = wide(0.0), None, 0.0
        for index, dt in enumerate(plan):
            if dt != width:
                width = dt
                hold = 1 / (1 + GAMMA * dt * rate)
                gain_modes = GAMMA * dt * push * hold
                two, echo = (1 - share) * hold + share * hold * hold, share * hold * gain_modes
                gain = _plain(ones @ gain_modes, many)
                echo_gain = _plain(ones @ echo, many)
            at = law
            if swings is not None:
                air_C = law.medium_C + swings[index]
                at = replace(law, medium_C=air_C, wall4=(air_C + KELVIN) ** 4)
            s1, q1, w1 = settle(at, surface, xp, evaporates, radiates, _plain(dot(hold, y), many), gain)
            y *= two
            s2, q2, w2 = settle(at, s1 + stride, xp, evaporates, radiates, _plain(ones @ y, many) + echo_gain * q1, gain)
            y += echo * q1
            y += gain_modes * q2
            stride = s2 - s1
            surface = s2 + GAMMA / (1 - GAMMA) * stride        # where the next stage is likely to find it
            first, second = dt * (1 - GAMMA), dt * GAMMA
            now += dt
            heat = heat + (first * q1 + second * q2)
            if evaporates:
                out = first * w1 + second * w2
                net_water = net_water + out
                film = film - out
                lost = lost + xp.maximum(-film, 0.0)
                film = xp.minimum(xp.maximum(film, 0.0), film_cap)
            row += 1
            times[row] = now
            record(row)
        evaporated.append(lost)
        if stage.medium == "water":
            film = wide(0.0)                   # what clings after a bath is left out
    first_rows.append(row)
    probes = history @ view.T if many is None else history
    return Run(times, probes, means, heats, waters, np.array(evaporated), tuple(laws), tuple(first_rows))


def _plain(number, many):
    return float(number) if many is None else number


def _width(link, stages) -> int | None:
    """Number of links if anything is an array, else None."""
    given = [*vars(link).values(), *(v for s in stages for v in (s.medium_C, s.wetness, s.h_W_per_m2K))]
    sizes = {np.size(v) for v in given if v is not None and np.ndim(v)}
    return max(sizes) if sizes else None


def _swings(stage, plan, many, rng):
    """How far the medium is from its mean in each step, K: the measured course of the stage, and in a cloud the wander of each place."""
    swings = None
    if stage.trace is not None:
        middle = np.cumsum(plan) - np.asarray(plan) / 2
        course = np.interp(middle / 60, *stage.trace)
        swings = course - float(np.dot(course, plan)) / stage.seconds
        if many is not None:
            swings = np.repeat(swings[:, None], many, axis=1)
    if rng is None or many is None or not stage.wander_K:
        return swings if swings is None or many is not None else swings.tolist()
    wander, swing = np.empty((len(plan), many)), stage.wander_K * rng.standard_normal(many)
    for index, dt in enumerate(plan):
        keep = math.exp(-dt / (60 * stage.wander_min)) if stage.wander_min else 0.0
        swing = keep * swing + math.sqrt(1 - keep * keep) * stage.wander_K * rng.standard_normal(many)
        wander[index] = swing
    return wander if swings is None else swings + wander
