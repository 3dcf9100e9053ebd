"""What is to be said of a cook: notes, sources, and the steps that a pencil can redo."""

import numpy as np

from kit.cook import freezing
from kit.cook.moist_air import KELVIN, PRESSURE_PA, saturation_pressure_Pa
from kit.cook.surface import Exchange
from kit.tables import number, value
from kit.working import Step, step

_VAPOUR = (
    "cook_psat_water_0",
    "cook_latent",
    "cook_film_cap",
    "cook_sorption_exponent",
    "cook_release_from_C",
)


def notes_of(done) -> tuple[str, ...]:
    """What lies outside where the method was tested, where the link stalls, and what is left out."""
    core, surface, minutes = done.core_C, done.surface_C, done.minutes
    said = list(done.link.notes)
    said += [
        f"the air of {stage.name} has {stage.humidity_pct:.2g} % humidity, drier than heated winter air: was a fraction meant? Give percent, 0 to 100"
        for stage in done.schedule
        if stage.vapour_Pa and np.mean(stage.medium_C) < 90 and stage.humidity_pct <= 1
    ]
    said += [target.words for target in done.targets if not target.reached]
    said += [
        f"In {o.name} the skin dried to a water activity of {o.skin_water_activity:.2f}, so the core passed the {o.plateau_C:.1f} °C of a wet skin by "
        f"{o.core_end_C - o.plateau_C:.1f} K. How fast a skin dries is known to a factor of two either way."
        for o in done.stages
        if o.wet_bulb_C is not None
        and o.medium_C - o.plateau_C > 3  # drying holds it back
        and o.core_end_C - o.plateau_C >= 0.5
    ]
    if done.lost_pct > 20:
        said.append(
            f"{done.lost_pct:.0f} % of the weight left as water; the method keeps diameter and properties, "
            "so past 20 % the true course drifts from it"
        )
    if surface.max() > 98:
        said.append(
            f"the surface came to {surface.max():.0f} °C; near boiling, vapour forms below the skin, which this method does not follow"
        )
    melts = number("cook_fat_melt_C")
    if surface[0] <= melts.value < surface.max():
        hot = int((surface > melts.value).argmax())
        said.append(
            f"the skin passed {melts.value:g} °C, where most pork fat is liquid ({melts.status_in_words}), after {minutes[hot]:.0f} min; "
            f"the core was {core[hot]:.0f} °C then"
        )
    if (row := freezing.freezes_at(surface)) is not None:
        said.append(
            f"the surface freezes (below {value('freezing_C_meat'):g} °C) after {minutes[row]:.0f} min: from that stage on the heat of the ice is counted; salt lowers "
            f"the freezing point further, which is left out. It ends at {surface[-1]:.1f} °C, the core at {core[-1]:.1f} °C"
        )
    said.append(
        "Weight lost is evaporation only, good to 2 or 3 percentage points without a fit to your own weights."
    )
    return tuple(said)


def sources_of(done) -> tuple[str, ...]:
    """One line for each source used."""
    dries = any(stage.vapour_Pa is not None for stage in done.schedule)
    froze = freezing.freezes_at(done.surface_C) is not None
    rows = (_VAPOUR if dries else ()) + (freezing.ROWS if froze else ())
    of_stages = (source for stage in done.schedule for source in stage.sources)
    of_rows = (number(row).cite() for row in rows)
    return tuple(dict.fromkeys((*done.link.sources, *of_stages, *of_rows)))


def working_of(done, run) -> tuple[Step, ...]:
    """Biot and Fourier numbers, plateaus, weight lost and heat taken up."""
    link, R = done.link, (done.link.radius_m, "m")
    k, c = (link.conductivity_W_per_mK, "W/(m K)"), (link.heat_capacity_J_per_kgK, "J/(kg K)")
    rho, a = (link.density_kg_per_m3, "kg/m³"), link.diffusivity_m2_per_s
    steps = [
        step("Thermal diffusivity of the batter", "a = k / (rho × c)", a, "m²/s", k=k, rho=rho, c=c)
    ]
    for outcome in done.stages:
        t, h = 60 * (outcome.end_min - outcome.start_min), (outcome.h_W_per_m2K, "W/(m² K)")
        what = f"Biot number in {outcome.name}: inside resistance over outside"
        steps.append(step(what, "Bi = h × R / k", outcome.biot, h=h, R=R, k=k))
        what = f"Fourier number of {outcome.name}: its length in the link's own time"
        own = (a, "m²/s")
        steps.append(step(what, "Fo = a × t / R^2", outcome.fourier, a=own, t=(t, "s"), R=R))
    for outcome, law in zip(done.stages, run.exchanges):
        if law.transfer and law.medium_C - outcome.plateau_C > 0.5:
            steps += _plateau(outcome, law, link)
    for outcome, water in zip(done.stages, run.evaporated_kg_per_m2):
        if water > 0:
            what = f"Weight lost in {outcome.name}: skin area times water per area, over the weight"
            formula = "loss = 100 × 4 × M / (rho × D)"
            M, D = (float(water), "kg/m²"), (2 * R[0], "m")
            steps.append(step(what, formula, outcome.lost_pct, "%", M=M, rho=rho, D=D))
    if freezing.freezes_at(done.surface_C) is not None:
        return tuple(steps)  # with ice, the heat is no longer that of a mean temperature
    end, start = float(run.mean_C[-1]), link.start_C
    what = "Heat taken up: what the mean temperature rose by"
    formula = "q = c × (Tend − Tstart) / 1000"
    heat, Tend, Tstart = c[0] * (end - start) / 1000, (end, "°C"), (start, "°C")
    return (*steps, step(what, formula, heat, "kJ/kg", c=c, Tend=Tend, Tstart=Tstart))


def _plateau(outcome, law: Exchange, link) -> list[Step]:
    """The plateau: heat in from the air equals heat out with the vapour."""
    s, where = outcome.plateau_C, f"Plateau of {outcome.name}"
    pressure, air = float(saturation_pressure_Pa(s)), PRESSURE_PA - float(np.exp(law.air_log))
    at_skin = link.water_activity * pressure
    if PRESSURE_PA - at_skin <= value("cook_inert_floor") * PRESSURE_PA:
        return []
    m = law.transfer * float(np.log((PRESSURE_PA - air) / (PRESSURE_PA - at_skin)))
    latent = 1000 * (value("cook_latent") - value("cook_latent_fall") * s)
    K = (law.transfer, "kg/(m² s)", "wetness × h × M / (molar heat × Le^(2/3))")
    P, pa, aw, ps = (PRESSURE_PA, "Pa"), (air, "Pa"), (link.water_activity,), (pressure, "Pa")
    what, formula = f"{where}: vapour leaving the skin", "m = K × ln((P − pa) / (P − aw × ps))"
    vapour = step(what, formula, m, "kg/(m² s)", K=K, P=P, pa=pa, aw=aw, ps=ps)
    h, Ta, L = (law.h, "W/(m² K)"), (law.medium_C, "°C"), (latent, "J/kg")
    out = (m, "kg/(m² s)")
    if not law.emission:
        rest = law.medium_C - latent * m / law.h
        what, formula = f"{where}: the air less what drying takes", "Ts = Ta − L × m / h"
        return [vapour, step(what, formula, rest, "°C", h=h, Ta=Ta, L=L, m=out)]
    balance = law.h * (law.medium_C - s) + law.emission * (law.wall4 - (s + KELVIN) ** 4)
    what = f"{where}: heat from air and walls less heat gone with the vapour"
    formula = "q = h × (Ta − Ts) + es × (Tw4 − Tk^4) − L × m"
    Ts, Tk = (s, "°C"), (s + KELVIN, "K")
    es, Tw4 = (law.emission, "W/(m² K⁴)"), (law.wall4, "K⁴")
    q = round(balance - latent * m, 9)  # or the balance would be what rounding left of 0
    balanced = step(what, formula, q, "W/m²", h=h, Ta=Ta, Ts=Ts, es=es, Tw4=Tw4, Tk=Tk, L=L, m=out)
    return [vapour, balanced]
