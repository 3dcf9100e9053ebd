"""How much nitrite would a portion bring, as a multiple of the acceptable daily intake? Never a dose that a body might bear."""

from dataclasses import dataclass

from kit.cure.salts import convert, convert_step
from kit.errors import need_between
from kit.tables import number
from kit.working import Result, steps_from


@dataclass(frozen=True)
class Exposure(Result):
    """`eaten_mg_nano2`: nitrite (as NaNO2) in `portion_g`, as if nothing had reacted. The acceptable daily intake (ADI) is that of the reference adult of
    `body_kg`."""

    portion_g: float
    eaten_mg_nano2: float
    body_kg: float
    adi_mg_ion: float
    adi_mg_nano2: float
    times_adi: float


def exposure(nitrite_ppm_of_product: float) -> Exposure:
    """One portion of a product beside the acceptable daily intake (ADI) of the reference adult.

    nitrite_ppm_of_product: mg NaNO2 per kg of product, 0 to 1e6.
    Raises OutOfRange beyond. ADI: European food safety authority, 2017, as the ion.
    """
    need_between("nitrite_ppm_of_product", nitrite_ppm_of_product, 0, 1e6)
    names = ("nitrite_adi_mg_per_kg", "adi_reference_body_kg", "exposure_portion_g")
    per_kg, body, portion = (number(name) for name in names)
    adi = per_kg.value * body.value
    adi_salt = convert(adi, "NO2", "NaNO2")
    eaten = portion.value * nitrite_ppm_of_product / 1000
    known = {
        "adi": adi,
        "per_kg": (per_kg.value, "mg/kg"),
        "body": (body.value, "kg", "reference adult"),
        "eaten": (eaten, "mg"),
        "portion": (portion.value, "g"),
        "ppm": (nitrite_ppm_of_product, "mg/kg"),
        "times": eaten / adi_salt,
        "adi_salt": (adi_salt, "mg NaNO2"),
    }
    first, second, third = steps_from(
        known,
        ("acceptable daily intake", "adi = per_kg × body", "mg NO2 ion"),
        ("nitrite in the portion", "eaten = portion × ppm / 1000", "mg NaNO2"),
        ("multiple of the acceptable daily intake", "times = eaten / adi_salt", "times"),
    )
    note = "the acceptable daily intake is for every day of a life and for a reference adult; a child weighs less, so the same portion is a larger multiple"
    return Exposure(
        portion.value,
        eaten,
        body.value,
        adi,
        adi_salt,
        eaten / adi_salt,
        own_notes=(note,),
        own_sources=(per_kg.cite(), body.cite(), portion.cite()),
        own_working=(first, convert_step(adi, "NO2", "NaNO2", "mg"), second, third),
    )
