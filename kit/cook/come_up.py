"""How long does a core take by diameter, and how much ice takes the heat out again?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kit.cook import series
from kit.cook.cooked import CAUTION, cook_many
from kit.cook.link import Link
from kit.cook.moist_air import numbers
from kit.errors import need, need_between
from kit.tables import number, value
from kit.working import Result, step


@dataclass(frozen=True)
class ComeUp(Result):
    """Minutes for the core to come to the target, (diameters, coefficients)."""

    diameters_mm: np.ndarray
    h_W_per_m2K: np.ndarray
    minutes: np.ndarray


def come_up(
    diameters_mm,
    medium_C: float,
    h_W_per_m2K,
    *,
    start_C: float | None = None,
    target_C: float = 70.0,
    length_over_diameter: float = np.inf,
    link: Link | None = None,
) -> ComeUp:
    """A table by the exact series: one steady medium, nothing evaporates (water, steam near boiling, a moisture-proof casing).

    `link` lends conductivity, density and heat capacity; works for cooling as well. h may hold inf. With a length, the product rule.
    Raises OutOfRange for a target that the medium can never bring.
    """
    link = Link(26.0) if link is None else link
    start = float(link.start_C)
    if start_C is not None:
        start = need_between("start temperature", start_C, -1.5, 100)
    medium = need_between("medium temperature", medium_C, -40, 150)
    target = need_between("target", target_C, -30, 120)
    need(
        min(start, medium) < target < max(start, medium),
        f"target {target:g} °C does not lie between the start {start:g} °C and the medium {medium:g} °C; "
        "the core never passes it: choose a medium beyond the target",
    )
    sizes, hs = _sizes(diameters_mm), np.atleast_1d(numbers("coefficient", h_W_per_m2K))
    need(
        hs.size > 0 and bool(np.all(hs > 0)),
        "coefficients must be above 0 W/(m² K); inf is allowed",
    )
    need(
        length_over_diameter > 0.2, "length over diameter must be above 0.2; inf is an endless link"
    )
    theta = (target - medium) / (start - medium)
    k, a = float(link.conductivity_W_per_mK), float(link.diffusivity_m2_per_s)
    radii = sizes / 2000
    fourier = np.array(
        [
            [series.fourier_to_reach(theta, float(h * R / k), length_over_diameter) for h in hs]
            for R in radii
        ]
    )
    minutes = fourier * radii[:, None] ** 2 / a / 60
    R, Fo = float(radii[0]), float(fourier[0, 0])
    steps = (
        step(
            "Share of the temperature difference that is left at the target",
            "theta = (T − Tm) / (T0 − Tm)",
            theta,
            T=(target, "°C"),
            Tm=(medium, "°C"),
            T0=(start, "°C"),
        ),
        step(
            f"Time of the first entry, from its Fourier number {Fo:.4f} by the series",
            "t = Fo × R^2 / (a × 60)",
            float(minutes[0, 0]),
            "min",
            Fo=(Fo,),
            R=(R, "m"),
            a=(a, "m²/s"),
        ),
    )
    if np.isfinite(hs[0]) and np.isinf(length_over_diameter):
        zeta, c1 = series.one_term(float(hs[0] * R / k))
        steps += (
            step(
                "Check with the first term alone",
                "Fo1 = ln(C1 / theta) / zeta^2",
                float(np.log(c1 / theta) / zeta**2),
                C1=(c1,),
                theta=(theta,),
                zeta=(zeta,),
            ),
        )
    tested = number("cook_diameter")
    outside = sizes[(sizes < tested.low) | (sizes > tested.high)]
    notes = tuple(
        f"diameter {d:g} mm lies outside the {tested.low:g} to {tested.high:g} mm that was checked"
        for d in outside
    )
    return ComeUp(
        sizes,
        hs,
        minutes,
        own_notes=(*notes, CAUTION),
        own_sources=link.sources,
        own_working=steps,
    )


def come_up_in(
    schedule, diameters_mm: Sequence[float], target_C: float = 70.0, *, link: Link | None = None
) -> np.ndarray:
    """Minutes to the target by diameter in a whole schedule with evaporation; inf where it is never reached."""
    base = Link(26.0) if link is None else link
    sizes = _sizes(diameters_mm)
    links = replace(base, diameter_mm=np.append(sizes, sizes[-1]), length_mm=None)
    return cook_many(links, schedule, (target_C,)).reached_min[0][:-1]


def _sizes(diameters_mm) -> np.ndarray:
    sizes = np.atleast_1d(numbers("diameter", diameters_mm))
    need(
        sizes.size > 0 and bool(np.all((sizes >= 3) & (sizes <= 400))),
        "diameters must lie between 3 and 400 mm, at least one",
    )
    return sizes


@dataclass(frozen=True)
class Ice(Result):
    """Ice for a chill bath."""

    ice_kg: float
    heat_kJ: float
    ice_per_kg: float


def ice_to_chill(
    sausage_kg: float,
    start_C: float,
    end_C: float,
    *,
    water_kg: float = 0.0,
    water_C: float = 15.0,
    ice_C: float = 0.0,
    leaves_C: float | None = None,
    heat_capacity_J_per_kgK: float | None = None,
) -> Ice:
    """Ice that takes sausage (mean temperature) and bath water down, the melt leaving at `leaves_C` (the end temperature if not said).

    Heat from room and tub is not in it. Fat that sets gives a little more heat than a constant heat capacity says.
    """
    mass = need_between("sausage", sausage_kg, 0, 1e6)
    start = need_between("start temperature", start_C, 0, 100)
    end = need_between("end temperature", end_C, 0, 100)
    need(mass > 0, "sausage must be more than 0 kg")
    need(
        end < start,
        f"end {end:g} °C is not below the start {start:g} °C; nothing needs to be chilled",
    )
    bath = need_between("bath water", water_kg, 0, 1e7)
    bath_C = need_between("bath water temperature", water_C, 0, 60)
    cold = need_between("ice temperature", ice_C, -40, 0)
    leaves, remedy = end, "melt warmer than the sausage cannot have chilled it"
    if leaves_C is not None:
        what = "temperature at which the melt leaves"
        leaves = need_between(what, leaves_C, 0, end, remedy)
    given = heat_capacity_J_per_kgK
    if given is None:
        given = value("cook_heat_capacity")
    cp = need_between("heat capacity", given, 1500, 4300) / 1000
    cw, ci = value("cook_chill_water_heat"), value("cook_ice_heat")
    latent = value("cook_ice_latent")
    from_sausage, from_bath = mass * cp * (start - end), bath * cw * max(bath_C - leaves, 0.0)
    takes = latent - ci * cold + cw * leaves
    ice = (from_sausage + from_bath) / takes
    T1, Tl, c_water = (end, "°C"), (leaves, "°C"), (cw, "kJ/(kg K)")
    steps = (
        step(
            "Heat out of the sausage",
            "Qs = m × c × (T0 − T1)",
            from_sausage,
            "kJ",
            m=(mass, "kg"),
            c=(cp, "kJ/(kg K)"),
            T0=(start, "°C"),
            T1=T1,
        ),
        step(
            "Heat out of the bath water",
            "Qw = mw × cw × max(Tw − Tl, 0)",
            from_bath,
            "kJ",
            mw=(bath, "kg"),
            cw=c_water,
            Tw=(bath_C, "°C"),
            Tl=Tl,
        ),
        step(
            "Heat that a kilogram of ice takes",
            "q = L − ci × Ti + cw × Tl",
            takes,
            "kJ/kg",
            L=(latent, "kJ/kg"),
            ci=(ci, "kJ/(kg K)"),
            Ti=(cold, "°C"),
            cw=c_water,
            Tl=Tl,
        ),
        step(
            "Ice",
            "ice = (Qs + Qw) / q",
            ice,
            "kg",
            Qs=(from_sausage, "kJ"),
            Qw=(from_bath, "kJ"),
            q=(takes, "kJ/kg"),
        ),
    )
    rows = ("cook_ice_latent", "cook_ice_heat", "cook_chill_water_heat", "cook_heat_capacity")
    note = (
        "Heat from room and tub is not counted: keep ice in hand. Use clean ice and drinking water."
    )
    return Ice(
        ice,
        from_sausage + from_bath,
        ice / mass,
        own_notes=(note,),
        own_sources=tuple(number(row).cite() for row in rows),
        own_working=steps,
    )
