"""How much nitrite does the colour need, and how much of the pigment was cured?"""

from dataclasses import dataclass

import numpy as np

from kit.cure.salts import molar_mass
from kit.errors import UnknownName, need, need_between
from kit.tables import number, value
from kit.working import Result, steps_from

_MEATS = ("veal", "calf", "young_beef", "old_beef", "pork", "lamb", "average")


def myoglobin_mg_per_g(meat: str) -> float:
    """Published myoglobin of a muscle: 'pork', 'young beef', 'old beef', 'veal', 'calf', 'lamb', 'average'. UnknownName otherwise."""
    key = meat.casefold().strip().replace(" ", "_")
    if key not in _MEATS:
        raise UnknownName(
            "meat with a published myoglobin", meat, (m.replace("_", " ") for m in _MEATS)
        )
    return value(f"myoglobin_{key}_mg_per_g")


def nitrite_for_pigment_ppm(myoglobin):
    """ppm NaNO2 of the meat for one NO on each haem, from myoglobin in mg per g of meat; arrays allowed.

    A floor: most nitrite goes elsewhere.
    """
    return np.multiply(myoglobin, molar_mass("NaNO2") * 1000 / value("myoglobin_g_per_mol"))


def cured_pigment_ppm(absorbance_540):
    """Nitrosohaem pigment, ppm haematin of the meat, from the 80 % acetone extract at 540 nm (10 g, 1 cm); arrays allowed."""
    return np.multiply(absorbance_540, value("hornsey_cured_ppm"))


def total_pigment_ppm(absorbance_640):
    """Total pigment, ppm haematin of the meat, from the acidified acetone extract at 640 nm; arrays allowed. The factor is not verified against its source."""
    return np.multiply(absorbance_640, value("hornsey_total_ppm"))


def conversion_pct(absorbance_540, absorbance_640):
    """Cured of total pigment, %; arrays allowed."""
    return 100 * np.divide(cured_pigment_ppm(absorbance_540), total_pigment_ppm(absorbance_640))


@dataclass(frozen=True)
class Pigment(Result):
    """Colour need of a meat mix against its dose; and, if two extracts were read, how much pigment was cured.

    `conversion_pct` and `good` are None without extracts, or where the two readings make more cured pigment than there is pigment: a note says so.
    """

    myoglobin_mg_per_g: float
    needed_ppm_of_meat: float
    times_needed: float
    conversion_pct: float | None
    good: bool | None


def pigment(
    myoglobin: float,
    nitrite_ppm_of_meat: float,
    absorbance_540: float | None = None,
    absorbance_640: float | None = None,
) -> Pigment:
    """What the colour of a meat needs of nitrite, and how much of its pigment was cured.

    myoglobin: mg per g of meat, 0.05 to 30.
    nitrite_ppm_of_meat: the dose, mg NaNO2 per kg of meat, 0 to 1e6.
    absorbance_540: of the 80 % acetone extract (10 g of product, 1 cm), 0 to 3.
    absorbance_640: of the acidified extract, 0.0001 to 3.
    Raises OutOfRange beyond, or if only one of the two extracts is given. Extraction of Hornsey (1956).
    """
    remedy = "poultry breast is lowest, old beef near 18"
    need_between("myoglobin, mg per g of meat", myoglobin, 0.05, 30, remedy)
    need_between("nitrite_ppm_of_meat", nitrite_ppm_of_meat, 0, 1e6)
    need(
        (absorbance_540 is None) == (absorbance_640 is None),
        "conversion needs both extracts: absorbance_540 (80 % acetone) and absorbance_640 (acidified)",
    )
    wanted = float(nitrite_for_pigment_ppm(myoglobin))
    known: dict = {
        "need": wanted,
        "Mb": (myoglobin, "mg/g"),
        "M": (molar_mass("NaNO2"), "g/mol", "NaNO2"),
        "M_Mb": (value("myoglobin_g_per_mol"), "g/mol", "myoglobin"),
    }
    formula = "need = Mb × 1000 × M / M_Mb"
    work = steps_from(known, ("nitrite for one NO per haem", formula, "mg/kg NaNO2 of the meat"))
    rows = ["nano2_g_per_mol", "myoglobin_g_per_mol", "colour_accepted_bologna_ppm"]
    frank, bologna = (
        value(f"colour_accepted_{product}_ppm") for product in ("poultry_frank", "bologna")
    )
    notes = [
        f"the colour was accepted in trials from about {frank:g} (poultry frankfurter) to {bologna:g} mg/kg (bologna): "
        "far above one NO per haem, since most nitrite reacts elsewhere"
    ]
    share = good = None
    if absorbance_540 is not None and absorbance_640 is not None:
        need_between("absorbance_540", absorbance_540, 0, 3)
        need_between("absorbance_640", absorbance_640, 1e-4, 3)
        share = float(conversion_pct(absorbance_540, absorbance_640))
        rows += ["hornsey_cured_ppm", "hornsey_total_ppm", "good_conversion_pct"]
    if share is not None and share > 100:
        share = None
        notes.append(
            "the two readings make more cured pigment than there is pigment, so no conversion is shown: look for turbidity, evaporated acetone or swapped extracts"
        )
    elif share is not None:
        good = share > value("good_conversion_pct")
        known |= {
            "C": share,
            "f1": value("hornsey_cured_ppm"),
            "f2": value("hornsey_total_ppm"),
            "A540": absorbance_540,
            "A640": absorbance_640,
        }
        formula = "C = 100 × f1 × A540 / (f2 × A640)"
        work += steps_from(known, ("pigment conversion", formula, "%"))
    return Pigment(
        float(myoglobin),
        wanted,
        float(nitrite_ppm_of_meat / wanted),
        share,
        good,
        own_notes=tuple(notes),
        own_sources=tuple(number(name).cite() for name in rows),
        own_working=work,
    )
