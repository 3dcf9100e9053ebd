"""What is to be said of a cook: notes, sources, and the steps that a pencil can redo."""

import numpy as np

from kit import working
from kit.cook import freezing
from kit.cook.moist_air import KELVIN, PRESSURE_PA, saturation_pressure_Pa
from kit.cook.surface import Exchange
from kit.tables import number, value
from kit.working import Step

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
    melts, row = number("cook_fat_melt_C"), freezing.freezes_at(surface)
    hot = int((surface > melts.value).argmax())
    holds = {
        "hollow": done.lost_pct > 20,
        "boiling": surface.max() > 98,
        "fat melts": surface[0] <= melts.value < surface.max(),
        "freezes": row is not None,
    }
    known = {"lost": done.lost_pct, "hottest": surface.max(), "melts": melts}
    known |= {"melts_min": minutes[hot], "core_C": core[hot], "freezes_min": minutes[row or 0]}
    known |= {"freezing_C": value("freezing_C_meat"), "surface_C": surface[-1], "end_C": core[-1]}
    return (*said, *working.notes_of("cook", holds, **known))


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
    link = done.link
    known = {
        "k": link.conductivity_W_per_mK,
        "c": link.heat_capacity_J_per_kgK,
        "rho": link.density_kg_per_m3,
        "a": link.diffusivity_m2_per_s,
        "R": link.radius_m,
        "D": 2 * link.radius_m,
    }
    steps = [*working.working_of("cook", **known)]
    for one in done.stages:
        own = {"t": 60 * (one.end_min - one.start_min), "h": one.h_W_per_m2K}
        own |= {"Bi": one.biot, "Fo": one.fourier}
        steps += working.working_of("stage of a cook", name=one.name, **known, **own)
    for one, law in zip(done.stages, run.exchanges):
        if law.transfer and law.medium_C - one.plateau_C > 0.5:
            steps += _plateau(one, law, link)
    for one, water in zip(done.stages, run.evaporated_kg_per_m2):
        if water > 0:
            own = {"M": float(water), "loss": one.lost_pct}
            steps += working.working_of("loss of a stage", name=one.name, **known, **own)
    if freezing.freezes_at(done.surface_C) is not None:
        return tuple(steps)  # with ice, the heat is no longer that of a mean temperature
    end, start = float(run.mean_C[-1]), link.start_C
    heat = known["c"] * (end - start) / 1000
    return (*steps, *working.working_of("heat of a cook", q=heat, Tend=end, Tstart=start, **known))


def _plateau(outcome, law: Exchange, link) -> tuple[Step, ...]:
    """The plateau: heat in from the air equals heat out with the vapour."""
    s = outcome.plateau_C
    pressure, air = float(saturation_pressure_Pa(s)), PRESSURE_PA - float(np.exp(law.air_log))
    at_skin = link.water_activity * pressure
    if PRESSURE_PA - at_skin <= value("cook_inert_floor") * PRESSURE_PA:
        return ()
    m = law.transfer * float(np.log((PRESSURE_PA - air) / (PRESSURE_PA - at_skin)))
    latent = 1000 * (value("cook_latent") - value("cook_latent_fall") * s)
    known = {"K": law.transfer, "P": PRESSURE_PA, "pa": air, "ps": pressure, "m": m}
    known |= {"aw": link.water_activity, "h": law.h, "Ta": law.medium_C, "L": latent}
    if not law.emission:
        rest = law.medium_C - latent * m / law.h
        return working.working_of("plateau of a stage", name=outcome.name, Ts=rest, **known)
    balance = law.h * (law.medium_C - s) + law.emission * (law.wall4 - (s + KELVIN) ** 4)
    q = round(balance - latent * m, 9)  # or the balance would be what rounding left of 0
    known |= {"es": law.emission, "Tw4": law.wall4, "Tk": s + KELVIN, "Ts": s, "q": q}
    return working.working_of("plateau under walls", name=outcome.name, **known)
