"""How much cure, salt and accelerator; on which basis; what does the scale's step do to it; which dosing error is this?"""

from kit.cure import cautions, mistakes
from kit.cure.addition_methods import (
    AdditionMethods,
    addition_methods,
    immersion_ppm,
    injection_ppm,
)
from kit.cure.brine import (
    Brine,
    aw_of_brine,
    aw_quadratic,
    brine,
    brine_pct,
    growth_table,
    ionic_strength,
    molality,
    salometer_degrees,
    sodium_mg_per_100g,
    water_activity,
)
from kit.cure.colour import (
    Pigment,
    conversion_pct,
    myoglobin_mg_per_g,
    nitrite_for_pigment_ppm,
    pigment,
)
from kit.cure.dose import Bases, CureLine, Dose, cure_for, dose, nitrite_ppm, premix_kg_for
from kit.cure.error_examples import ErrorExample, error_examples
from kit.cure.exposure import Exposure, exposure
from kit.cure.findings import Findings, find_dosing_errors
from kit.cure.limits import Addition, band, judge, usual_rate_g_per_kg
from kit.cure.plan import Plan
from kit.cure.premix import Premix, natural_source, own_premix, premix, premix_names
from kit.cure.residual import Residual, residual
from kit.cure.salts import convert
from kit.cure.scale import (
    Dilution,
    Scale,
    ScaleAnswer,
    dilute,
    on_scale,
    ppm_interval,
    smallest_batch_meat_kg,
)
from kit.cure.spoons import cure_line, spoon_ppm
from kit.cure.weigh_list import Item, WeighList, weigh_list
from kit.rules import (
    Limit,
    Verdict,
    all_limits,
    editions,
    limit,
    limits_for,
    own_limit,
    usual_edition,
)
