"""How much nitrite would a portion bring, as a multiple of the acceptable daily intake? Never a dose that a body might bear."""

from dataclasses import dataclass

from kit.cure.cautions import NITRITE, POISONED
from kit.cure.salts import convert, convert_step
from kit.errors import need_between
from kit.tables import number
from kit.working import Step, step


@dataclass(frozen=True)
class Exposure:
    """`eaten_mg_nano2`: nitrite (as NaNO2) in `portion_g`, as if nothing had reacted. The acceptable daily intake (ADI) is that of the reference adult of
    `body_kg`."""

    portion_g: float
    eaten_mg_nano2: float
    body_kg: float
    adi_mg_ion: float
    adi_mg_nano2: float
    times_adi: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def exposure(nitrite_ppm_of_product: float) -> Exposure:
    """One portion of a product with that much nitrite (NaNO2, mg/kg), beside the ADI of the reference adult. OutOfRange beyond 0 to 1e6."""
    need_between("nitrite_ppm_of_product", nitrite_ppm_of_product, 0, 1e6)
    per_kg, body, portion = (
        number("nitrite_adi_mg_per_kg"),
        number("adi_reference_body_kg"),
        number("exposure_portion_g"),
    )
    adi = per_kg.value * body.value
    adi_salt = convert(adi, "NO2", "NaNO2")
    eaten = portion.value * nitrite_ppm_of_product / 1000
    work = (
        step(
            "acceptable daily intake",
            "adi = per_kg × body",
            adi,
            "mg NO2 ion",
            per_kg=(per_kg.value, "mg/kg"),
            body=(body.value, "kg", "reference adult"),
        ),
        convert_step(adi, "NO2", "NaNO2", "mg"),
        step(
            "nitrite in the portion",
            "eaten = portion × ppm / 1000",
            eaten,
            "mg NaNO2",
            portion=(portion.value, "g"),
            ppm=(nitrite_ppm_of_product, "mg/kg"),
        ),
        step(
            "multiple of the acceptable daily intake",
            "times = eaten / adi",
            eaten / adi_salt,
            "times",
            eaten=(eaten, "mg"),
            adi=(adi_salt, "mg NaNO2"),
        ),
    )
    notes = (
        "the acceptable daily intake is for every day of a life and for a reference adult; a child weighs less, so the same portion is a larger multiple",
    )
    return Exposure(
        portion.value,
        eaten,
        body.value,
        adi,
        adi_salt,
        eaten / adi_salt,
        (NITRITE, POISONED),
        notes,
        tuple(dict.fromkeys((per_kg.cite(), body.cite(), portion.cite()))),
        work,
    )
