"""How much nitrite does the colour need?"""

from dataclasses import dataclass

import numpy as np

from kit.cure.salts import molar_mass
from kit.errors import UnknownName, need_between
from kit.tables import number, value
from kit.working import Result, steps_from

MEATS = ("pork", "veal", "calf", "young beef", "old beef", "lamb", "average")


def myoglobin_mg_per_g(meat: str) -> float:
    """Published myoglobin of a muscle, one of MEATS. UnknownName otherwise."""
    name = meat.casefold().strip()
    if name not in MEATS:
        raise UnknownName("meat with a published myoglobin", meat, MEATS)
    return value(f"myoglobin_{name.replace(' ', '_')}_mg_per_g")


def nitrite_for_pigment_ppm(myoglobin):
    """ppm NaNO2 of the meat for one NO on each haem, from myoglobin in mg per g of meat; arrays allowed.

    A floor: most nitrite goes elsewhere.
    """
    return np.multiply(myoglobin, molar_mass("NaNO2") * 1000 / value("myoglobin_g_per_mol"))


@dataclass(frozen=True)
class Pigment(Result):
    """What the colour of a meat needs of nitrite, against its dose; `accepted_ppm`: (least, most) at which colour was accepted in trials."""

    needed_ppm_of_meat: float
    times_needed: float
    accepted_ppm: tuple[float, float]


def pigment(myoglobin: float, nitrite_ppm_of_meat: float) -> Pigment:
    """What the colour of a meat needs of nitrite.

    myoglobin: mg per g of meat, 0.05 to 30.
    nitrite_ppm_of_meat: the dose, mg NaNO2 per kg of meat, 0 to 1e6.
    Raises OutOfRange beyond.
    """
    remedy = "poultry breast is lowest, old beef near 18"
    need_between("myoglobin, mg per g of meat", myoglobin, 0.05, 30, remedy)
    need_between("nitrite_ppm_of_meat", nitrite_ppm_of_meat, 0, 1e6)
    wanted = float(nitrite_for_pigment_ppm(myoglobin))
    known: dict = {
        "need": wanted,
        "Mb": (myoglobin, "mg/g"),
        "M": (molar_mass("NaNO2"), "g/mol", "NaNO2"),
        "M_Mb": (value("myoglobin_g_per_mol"), "g/mol", "myoglobin"),
    }
    formula = "need = Mb × 1000 × M / M_Mb"
    rows = ("nano2_g_per_mol", "myoglobin_g_per_mol", "colour_accepted_bologna_ppm")
    frank, bologna = (
        value(f"colour_accepted_{product}_ppm") for product in ("poultry_frank", "bologna")
    )
    note = (
        f"the colour was accepted in trials from about {frank:g} (poultry frankfurter) to {bologna:g} mg/kg (bologna): "
        "far above one NO per haem, since most nitrite reacts elsewhere"
    )
    return Pigment(
        wanted,
        float(nitrite_ppm_of_meat / wanted),
        (frank, bologna),
        own_notes=(note,),
        own_sources=tuple(number(name).cite() for name in rows),
        own_working=steps_from(
            known, ("nitrite for one NO per haem", formula, "mg/kg NaNO2 of the meat")
        ),
    )
