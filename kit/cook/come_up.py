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
    """Come-up times by the exact series: one steady medium, nothing evaporates (water, steam near boiling, a moisture-proof casing).

    diameters_mm: 3 to 400. medium_C: -40 to 150 °C. h_W_per_m2K: one or many, above 0; inf holds the skin at the medium's temperature.
    start_C: -1.5 to 100 °C; the link's own where left out. target_C: of the core, -30 to 120 °C. length_over_diameter: above 0.2; inf is an endless link,
    otherwise the product rule. link: lends conductivity, density and heat capacity.
    Returns minutes, (diameters, coefficients); works for cooling as well. Raises OutOfRange for a target that the medium can never bring.
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

    def to_reach(R, h):
        return series.fourier_to_reach(theta, float(h * R / k), length_over_diameter)

    fourier = np.array([[to_reach(R, h) for h in hs] for R in radii])
    minutes = fourier * radii[:, None] ** 2 / a / 60
    R, Fo, first = float(radii[0]), float(fourier[0, 0]), float(minutes[0, 0])
    T, Tm, T0 = (target, "°C"), (medium, "°C"), (start, "°C")
    what = "Share of the temperature difference that is left at the target"
    steps = [step(what, "theta = (T − Tm) / (T0 − Tm)", theta, T=T, Tm=Tm, T0=T0)]
    what = f"Time of the first entry, from its Fourier number {Fo:.4f} by the series"
    size, spread = (R, "m"), (a, "m²/s")
    steps.append(step(what, "t = Fo × R^2 / (a × 60)", first, "min", Fo=(Fo,), R=size, a=spread))
    if np.isfinite(hs[0]) and np.isinf(length_over_diameter):
        zeta, c1 = series.one_term(float(hs[0] * R / k))
        what, formula = "Check with the first term alone", "Fo1 = ln(C1 / theta) / zeta^2"
        one = float(np.log(c1 / theta) / zeta**2)
        steps.append(step(what, formula, one, C1=(c1,), theta=(theta,), zeta=(zeta,)))
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
        own_working=tuple(steps),
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
    """Ice that takes sausage and bath water down.

    sausage_kg: above 0. start_C, end_C: mean temperature of the sausage, 0 to 100 °C. water_kg, water_C: bath water, 0 to 60 °C. ice_C: -40 to 0 °C.
    leaves_C: of the melt; the end temperature where left out. heat_capacity_J_per_kgK: 1500 to 4300; the usual one where left out.
    Heat from room and tub is not in it. Fat that sets gives a little more heat than a constant heat capacity says. Raises OutOfRange outside these ranges.
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
    latent = value("ice_latent_heat")
    from_sausage, from_bath = mass * cp * (start - end), bath * cw * max(bath_C - leaves, 0.0)
    takes = latent - ci * cold + cw * leaves
    ice = (from_sausage + from_bath) / takes
    m, c, T0, T1 = (mass, "kg"), (cp, "kJ/(kg K)"), (start, "°C"), (end, "°C")
    mw, Tw, Tl, c_water = (bath, "kg"), (bath_C, "°C"), (leaves, "°C"), (cw, "kJ/(kg K)")
    L, c_ice, Ti, q = (latent, "kJ/kg"), (ci, "kJ/(kg K)"), (cold, "°C"), (takes, "kJ/kg")
    Qs, Qw = (from_sausage, "kJ"), (from_bath, "kJ")
    of_sausage, of_bath = "Qs = m × c × (T0 − T1)", "Qw = mw × cw × max(Tw − Tl, 0)"
    what = "Heat that a kilogram of ice takes"
    steps = (
        step("Heat out of the sausage", of_sausage, *Qs, m=m, c=c, T0=T0, T1=T1),
        step("Heat out of the bath water", of_bath, *Qw, mw=mw, cw=c_water, Tw=Tw, Tl=Tl),
        step(what, "q = L − ci × Ti + cw × Tl", *q, L=L, ci=c_ice, Ti=Ti, cw=c_water, Tl=Tl),
        step("Ice", "ice = (Qs + Qw) / q", ice, "kg", Qs=Qs, Qw=Qw, q=q),
    )
    rows = ("ice_latent_heat", "cook_ice_heat", "cook_chill_water_heat", "cook_heat_capacity")
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
