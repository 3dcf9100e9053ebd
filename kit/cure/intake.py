"""What do these amounts mean for a person? Acceptable daily intake and toxic range, as published, in grams of each premix."""
from dataclasses import dataclass

from kit.cure.cautions import NITRITE, POISONED
from kit.cure.premix import Premix, premix, premix_names
from kit.cure.salts import convert, convert_step
from kit.errors import need_between
from kit.tables import number
from kit.working import Step, step


@dataclass(frozen=True)
class Grams:
    """What each amount of `Intake` is in grams of one premix: every day of a life, first signs of poisoning, deaths by either source."""

    premix: str
    strength_pct: float
    adi_g: float
    methaemoglobin_from_g: float
    lethal_low_g: float
    lethal_high_g: float
    lethal_who_low_g: float
    lethal_who_high_g: float


@dataclass(frozen=True)
class Intake:
    """Daily and toxic amounts for one body weight, as NaNO2 (mg and g) and as premix. `eaten_mg_nano2`: what a portion brings."""

    body_kg: float
    adi_mg_ion: float
    adi_mg_nano2: float
    methaemoglobin_from_mg_nano2: float
    lethal_low_g_nano2: float
    lethal_high_g_nano2: float
    lethal_who_low_g_nano2: float
    lethal_who_high_g_nano2: float
    eaten_mg_nano2: float | None
    share_of_adi_pct: float | None
    premixes: tuple[Grams, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def intake(body_kg: float, portion_g: float | None = None, nitrite_ppm_in_portion: float | None = None,
           premixes: tuple[Premix, ...] | None = None) -> Intake:
    """Context for one body weight. `nitrite_ppm_in_portion`: NaNO2, mg/kg of what is eaten: measured, or ingoing for a wrong dose."""
    need_between("body_kg", body_kg, 2, 300)
    rows = {key: number(key) for key in ("nitrite_adi_mg_per_kg", "methaemoglobinaemia_from_mg_per_kg", "nitrite_lethal_low_mg_per_kg",
                                         "nitrite_lethal_high_mg_per_kg",
                                         "nitrite_lethal_who_low_mg_per_kg", "nitrite_lethal_who_high_mg_per_kg")}
    mg = {key: row.value * body_kg for key, row in rows.items()}
    adi, adi_salt = mg["nitrite_adi_mg_per_kg"], convert(mg["nitrite_adi_mg_per_kg"], "NO2", "NaNO2")
    low, high = mg["nitrite_lethal_low_mg_per_kg"] / 1000, mg["nitrite_lethal_high_mg_per_kg"] / 1000
    who_low, who_high = (convert(mg[f"nitrite_lethal_who_{end}_mg_per_kg"], "NO2", "NaNO2") / 1000 for end in ("low", "high"))
    work = [step("acceptable daily intake", "adi = per_kg × body", adi, "mg NO2 ion", per_kg=(rows["nitrite_adi_mg_per_kg"].value, "mg/kg"),
                 body=(body_kg, "kg")),
            convert_step(adi, "NO2", "NaNO2", "mg"),
            step("lowest published lethal amount", "lethal = per_kg × body / 1000", low, "g NaNO2",
                 per_kg=(rows["nitrite_lethal_low_mg_per_kg"].value, "mg/kg"), body=(body_kg, "kg"))]
    eaten = share = None
    if portion_g is not None and nitrite_ppm_in_portion is not None:
        need_between("portion_g", portion_g, 0, 5000)
        need_between("nitrite_ppm_in_portion", nitrite_ppm_in_portion, 0, 1e6)
        eaten = portion_g * nitrite_ppm_in_portion / 1000
        share = 100 * eaten / adi_salt
        work += [step("nitrite eaten", "eaten = portion × ppm / 1000", eaten, "mg NaNO2", portion=(portion_g, "g"),
                      ppm=(nitrite_ppm_in_portion, "mg/kg")),
                 step("share of the daily intake", "share = 100 × eaten / adi", share, "%", eaten=(eaten, "mg"),
                      adi=(adi_salt, "mg NaNO2"))]
    first = convert(mg["methaemoglobinaemia_from_mg_per_kg"], "NO2", "NaNO2")
    mixes = premixes if premixes is not None else tuple(premix(name) for name in premix_names())
    table = tuple(Grams(m.name, m.strength_pct, *(100 * g / m.strength_pct for g in (adi_salt / 1000, first / 1000, low, high, who_low, who_high)))
                  for m in mixes
                  if m.assayed and m.strength_pct > 0)
    notes = ("published lethal amounts spread more than tenfold; children, the old and the ill lie at the low end or below it",
             "the acceptable daily intake is for every day of a life; one portion above it is not poisoning")
    return Intake(float(body_kg), adi, adi_salt, first, low, high, who_low,
                  who_high, eaten, share, table,
                  (NITRITE, POISONED), notes, tuple(dict.fromkeys(row.cite() for row in rows.values())), tuple(work))
