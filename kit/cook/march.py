"""How does the heat move in? Radial finite volumes, an L-stable step, and the surface solved exactly.

The link is cut into rings around its axis. The ring network has as many shapes ("modes") as nodes; with constant properties
each shape fades at its own rate, and only the heat that crosses the surface ties them together. In these modes a step costs a
few sums, for one link or a thousand:

    dy_j/dt = -(a / R²) lambda_j y_j + beta_j q / (rho c R),     surface = sum of y_j,     y_0 = mean temperature

Time: the two-stage, stiffly accurate SDIRK of order 2 (gamma = 1 - 1/sqrt 2). In each stage the surface temperature is the
root of one increasing function, s - known - gain q(s) = 0, found by Newton to 1e-7 K. The heat that enters the rings is the heat that
is booked, so the energy balance closes to rounding.

The skin dries by the same scheme: water moves to the surface through rings that grow finer outwards (Fick, constant diffusivity),
and the water activity of the surface follows from the water that is left there (Oswin). The vapour flow enters the same Newton step.
With an infinite diffusivity the surface stays as wet as the fresh batter.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from kit.cook.moist_air import KELVIN
from kit.cook.surface import ARRAY, SCALAR, Exchange, exchange, settle, water_activity
from kit.tables import value

GAMMA = 1 - 1 / math.sqrt(2)
RINGS, STEP_S = 24, 30.0
SKIN_RINGS, SKIN_GRADE = 16, 3
"""rings for water: their nodes lie at 1 - (1 - i/n)^grade of the radius, so that the outermost is thinner than a thousandth of it"""


@dataclass(frozen=True)
class Modes:
    """Shapes of the ring network of one radius: `shapes[i, j]` is mode j at node i, 1 at the surface."""

    decay: np.ndarray
    drive: np.ndarray
    shapes: np.ndarray
    volumes: np.ndarray
    """share of the cross-section that each node stands for"""
    start: np.ndarray
    """a flat start of 1 K in modes: 1 for the mean, 0 for the rest"""
    radii: np.ndarray
    """nodes as fractions of the radius"""

    def at(self, radius_fraction) -> np.ndarray:
        """Mode values at radius fractions (k,) straight in r² between nodes: (modes, k)."""
        nodes = self.radii**2
        where = np.clip(np.atleast_1d(np.asarray(radius_fraction, float)), 0, 1) ** 2
        return np.stack([np.interp(where, nodes, shape) for shape in self.shapes.T])


@lru_cache(maxsize=16)
def modes(rings: int = RINGS, grade: float = 1.0) -> Modes:
    """Nodes at r = 0 ... R, each with the ring of material nearer to it than to its neighbours; a `grade` above 1 crowds them at the surface."""
    n = rings
    radii = 1 - (1 - np.arange(n + 1) / n) ** grade
    edges = np.concatenate([[0], (radii[:-1] + radii[1:]) / 2, [1]])
    volumes = np.diff(edges**2) / 2
    # conductance between neighbours, per radian, k = 1 and R = 1
    between = edges[1:-1] / np.diff(radii)
    stiff = np.diag(np.append(between, 0.0) + np.append(0.0, between))
    stiff -= np.diag(between, 1) + np.diag(between, -1)
    root = np.sqrt(volumes)
    decay, vectors = np.linalg.eigh(stiff / np.outer(root, root))
    decay[0] = 0.0
    surface = vectors[-1] / root[-1]
    # modes with no amplitude at the surface are not driven by what crosses it
    driven = np.abs(surface) > 1e-12 * np.abs(surface).max()
    shapes = (vectors / root[:, None])[:, driven] / surface[driven]
    shapes[:, 0] = 1.0
    start, drive = np.eye(n + 1)[0][driven], surface[driven] ** 2
    return Modes(decay[driven], drive, shapes, 2 * volumes, start, radii)


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
    skin_activity: np.ndarray
    """(stages,) or (stages, links): water activity of the surface at the end of each stage"""


def time_steps(seconds: float, step_s: float) -> list[float]:
    """Short steps first, where a new medium bites, then equal ones; they sum to `seconds`."""
    shares = (0.02, 0.03, 0.05, 0.1, *[0.2] * 4, *[0.5] * 4)
    early = [step_s * share for share in shares]
    if seconds <= 2 * sum(early):
        count = max(4, math.ceil(seconds / (0.2 * step_s)))
        return [seconds / count] * count
    left = seconds - sum(early)
    count = math.ceil(left / step_s - 1e-9)
    return early + [left / count] * count


def march(
    link,
    stages,
    *,
    places=(0.0, 0.5, 1.0),
    place_weights=None,
    rings: int = RINGS,
    step_s: float = STEP_S,
    rng=None,
    released_pct: float = 0.0,
    skin_rings: int = SKIN_RINGS,
) -> Run:
    """Take `link` (floats, or arrays over links) through `stages` from a flat start.

    `released_pct`: water that the gel lets go while it heats, % of the start weight. It reaches the surface and wets it, in step with the mean temperature.

    `places` are radius fractions, the same for all links; `place_weights` (modes, links) adds one more place of each link's own.
    `rng` makes stages with a wander unsteady (needs many links). Raises nothing of its own: the doors check the input.
    """
    net, many = modes(rings), _width(link, stages)
    dries = bool(np.all(np.isfinite(link.moisture_diffusivity_m2_per_s)))
    skin_net = modes(skin_rings, SKIN_GRADE)
    n = len(net.decay)
    xp = SCALAR if many is None else ARRAY

    def wide(a):
        return float(a) if many is None else np.broadcast_to(np.asarray(a, float), (many,))

    radius = np.asarray(link.diameter_mm, float) / 2000
    volumetric = np.asarray(link.density_kg_per_m3, float) * link.heat_capacity_J_per_kgK
    behind = link.density_kg_per_m3 * radius / 2  # kg of link behind each m² of surface

    def stacked(of_heat, by_link, of_water, by_water):
        """Modes of heat over modes of water: (modes,) or (modes, links)."""
        heat, water = (of_heat, by_link), (of_water, by_water)
        pairs = (heat, water) if dries else (heat,)
        return np.concatenate([np.multiply.outer(a, wide(b)) for a, b in pairs])

    conducts = link.conductivity_W_per_mK / volumetric / radius**2
    diffuses = link.moisture_diffusivity_m2_per_s / radius**2
    water_behind = behind * link.batter.water_fraction
    rate = stacked(net.decay, conducts, skin_net.decay, diffuses)
    push = stacked(net.drive, 1 / (volumetric * radius), -skin_net.drive / 2, 1 / water_behind)
    # temperature, and the share of the first water that is left
    z = stacked(net.start, link.start_C, skin_net.start, 1.0)
    view = net.at(places).T
    plans = [time_steps(stage.seconds, step_s) for stage in stages]
    rows = sum(map(len, plans)) + 1
    tail = () if many is None else (many,)
    own = 0 if place_weights is None else 1
    history = np.empty((rows, n)) if many is None else np.empty((rows, len(places) + own, many))
    means, heats, waters = (np.zeros((rows, *tail)) for _ in range(3))
    times = np.zeros(rows)
    film, film_cap = wide(0.0), value("cook_film_cap")
    heat, net_water, fed, feed, flow = (wide(0.0) for _ in range(5))
    gel_water, gel_from = wide(behind * released_pct / 100), value("cook_release_from_C")
    gel_span = value("cook_release_to_C") - gel_from
    evaporated, laws, first_rows, activity = [], [], [], []

    def record(row):
        if many is None:
            history[row] = z[:n]
        else:
            np.matmul(view, z[:n], out=history[row, : len(places)])
            if own:
                history[row, -1] = np.einsum("mn,mn->n", place_weights, z[:n])
        means[row], heats[row], waters[row] = z[0], heat, net_water

    def at_surface(amplitudes):
        """Temperature, and share of the first water left, that these modes make at the surface."""
        heat, water = amplitudes[:n].sum(axis=0), amplitudes[n:].sum(axis=0)
        return (float(heat), float(water)) if many is None else (heat, water)

    record(0)
    row, now, surface, share = 0, 0.0, wide(link.start_C), (1 - GAMMA) / GAMMA
    for stage, plan in zip(stages, plans):
        law = exchange(stage, link.diameter_mm, z[0], link.water_activity, wide, xp)
        wets = law.evaporates and dries
        swings = _swings(stage, plan, many, rng)
        laws.append(law)
        first_rows.append(row)
        lost, width, stride, skin = wide(0.0), None, 0.0, None
        for index, dt in enumerate(plan):
            if dt != width:
                width = dt
                hold = 1 / (1 + GAMMA * dt * rate)
                gains = GAMMA * dt * push * hold
                two, echo = (1 - share) * hold + share * hold * hold, share * hold * gains
                (gain, wet_gain), (echo_gain, wet_echo) = at_surface(gains), at_surface(echo)
            at = law
            if swings is not None:
                air_C = law.medium_C + swings[index]
                at = replace(law, medium_C=air_C, wall4=(air_C + KELVIN) ** 4)
            known, left = at_surface(hold * z)
            if wets:
                if released_pct:
                    warm = xp.maximum((z[0] - gel_from) / gel_span, 0.0)
                    due = xp.maximum(gel_water * xp.minimum(warm, 1.0), fed)
                    feed, fed = (due - fed) / dt, due
                bare = 1.0 * (film < film_cap)  # condensate soaks in, until a full film of it drips
                dries_by = -bare * wet_gain
                skin = bare * (left - wet_gain * feed - 1) + 1, dries_by
            s1, q1, w1 = settle(at, surface, known, gain, skin=skin, flow=flow)
            z *= two
            known, left = at_surface(z)
            if wets:
                drawn1 = bare * w1 - feed
                skin = bare * (left + wet_echo * drawn1 - wet_gain * feed - 1) + 1, dries_by
            known = known + echo_gain * q1
            s2, q2, w2 = settle(at, s1 + stride, known, gain, skin=skin, flow=w1)
            stride = s2 - s1
            surface = s2 + GAMMA / (1 - GAMMA) * stride  # where the next stage is likely to find it
            first, second = dt * (1 - GAMMA), dt * GAMMA
            now += dt
            heat = heat + (first * q1 + second * q2)
            if law.evaporates:
                out = first * w1 + second * w2
                net_water = net_water + out
                film = film - out
                from_link = xp.maximum(-film, 0.0)
                lost = lost + from_link
                film = xp.minimum(xp.maximum(film, 0.0), film_cap)
            z[:n] += echo[:n] * q1 + gains[:n] * q2
            if wets:  # what was released came from within, and a film is not of the link
                flow = w2
                z[n:] += echo[n:] * drawn1 + gains[n:] * (bare * w2 - feed)
                z[n] += push[n] * (from_link + feed * dt - bare * out)
            row += 1
            times[row] = now
            record(row)
        evaporated.append(lost)
        left = at_surface(z)[1]
        share_left = np.where(film >= film_cap, 1.0, left) if dries else 1.0
        activity.append(water_activity(share_left, law.water_activity)[0])
        if stage.medium == "water":
            film = wide(0.0)  # what clings after a bath is left out
    first_rows.append(row)
    probes = history @ view.T if many is None else history
    by_stage = (np.array(evaporated), tuple(laws), tuple(first_rows), np.array(activity))
    return Run(times, probes, means, heats, waters, *by_stage)


def _width(link, stages) -> int | None:
    """Number of links if anything is an array, else None."""
    of_stages = (v for s in stages for v in (s.medium_C, s.wetness, s.h_W_per_m2K))
    given = (*vars(link).values(), *of_stages)
    sizes = {np.size(v) for v in given if v is not None and np.ndim(v)}
    return max(sizes) if sizes else None


def _swings(stage, plan, many, rng):
    """How far the medium of each place is from its mean in each step of a cloud, K; None where it is steady."""
    if rng is None or many is None or not stage.wander_K:
        return None
    wander, swing = np.empty((len(plan), many)), stage.wander_K * rng.standard_normal(many)
    for index, dt in enumerate(plan):
        keep = math.exp(-dt / (60 * stage.wander_min)) if stage.wander_min else 0.0
        fresh = math.sqrt(1 - keep * keep) * stage.wander_K * rng.standard_normal(many)
        swing = keep * swing + fresh
        wander[index] = swing
    return wander
