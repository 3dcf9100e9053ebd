"""How many links, how much casing; how far do lengths and weights scatter?

casing = machine(22, batter_density(air_pct=3))        or natural("sheep 22-24"), cellulose(21), weighed("hog", 4.1, 10)
plan_links(100, casing, weight_g=50, strand_m=25)       links, metres and strands
weights = read_measured("51.2 49.8 50,5 52", "g", decimal=",")
scatter(weights, low=48, high=54, declared_g=50, price_per_kg=6.5)
drivers(weights, lengths, diameters)                    does length or diameter drive the weights?
"""

from kit.casing.density import OPEN, VACUUM, Density, batter_density
from kit.casing.drivers import Driver, Drivers, drivers, drivers_unpaired
from kit.casing.geometry import (
    FLAT,
    ROUND,
    diameter_of_fill_mm,
    fill_g_per_m,
    link_diameter_mm,
    link_length_mm,
    link_weight_g,
)
from kit.casing.kinds import (
    Casing,
    cellulose,
    cellulose_codes,
    collagen,
    machine,
    natural,
    natural_names,
    weighed,
)
from kit.casing.measured import Measured, read_measured, read_paired
from kit.casing.outlying import far_out
from kit.casing.plan import LinkPlan, plan_links
from kit.casing.scatter import (
    Giveaway,
    Outside,
    Scatter,
    how_many,
    how_many_more,
    mean_to_aim_at,
    scatter,
)
from kit.casing.tolerance import tolerance_factor

__all__ = [name for name in dir() if not name.startswith("_")]
