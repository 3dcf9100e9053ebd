"""How much nitrite would a portion bring, as a multiple of the acceptable daily intake? Never a dose that a body might bear."""

from dataclasses import dataclass

from kit.cure.salts import convert
from kit.errors import need_between
from kit.tables import number
from kit.working import Result, working_of


@dataclass(frozen=True)
class Exposure(Result):
    """`eaten_mg`: NaNO2 in `portion_g`, as if nothing had reacted; `adi_mg`: what a reference adult of `body_kg` may take in daily, as NaNO2."""

    portion_g: float
    eaten_mg: float
    body_kg: float
    adi_mg: float
    times_adi: float


def exposure(nitrite_ppm_of_product: float) -> Exposure:
    """One portion of a product beside the acceptable daily intake (ADI) of the reference adult.

    nitrite_ppm_of_product: mg NaNO2 per kg of product, 0 to 1e6.
    Raises OutOfRange beyond. ADI: European food safety authority, 2017, as the ion.
    """
    need_between("nitrite_ppm_of_product", nitrite_ppm_of_product, 0, 1e6)
    rows = [
        number(name)
        for name in ("nitrite_adi_mg_per_kg", "adi_reference_body_kg", "exposure_portion_g")
    ]
    per_kg, body, portion = (row.value for row in rows)
    salt_per_ion = convert(1.0, "NO2", "NaNO2")
    adi, eaten = per_kg * body * salt_per_ion, portion * nitrite_ppm_of_product / 1000
    known = {"per_kg": per_kg, "body": body, "M": salt_per_ion, "ppm": nitrite_ppm_of_product}
    known |= {"adi": adi, "portion": portion, "eaten": eaten, "times": eaten / adi}
    note = "the acceptable daily intake is for daily intake over a lifetime and for a reference adult; a child weighs less, so the same portion is a larger multiple"
    return Exposure(
        portion,
        eaten,
        body,
        adi,
        eaten / adi,
        own_notes=(note,),
        own_sources=tuple(row.cite() for row in rows),
        own_working=working_of("exposure", **known),
    )
