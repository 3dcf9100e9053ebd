"""How many links, how much casing; how far do lengths and weights scatter?

casing = machine(22, batter_density(air_pct=3))
casing = natural("sheep 22-24"), cellulose(21) or weighed("hog", 4.1, 10)
plan_links(100, casing, weight_g=50, strand_m=25)       links, metres and strands
weights = kit.reading.measured.read_measured("51.2 49.8 50,5 52", "g", decimal=",")
scatter(weights, low=48, high=54, declared_g=50, price_per_kg=6.5)
drivers(weights, lengths, diameters)                    does length or diameter drive the weights?
"""

from kit.casing.density import Density, batter_density
from kit.casing.drivers import drivers
from kit.casing.kinds import Casing, cellulose, collagen, machine, natural, weighed
from kit.casing.plan import LinkPlan, plan_links
from kit.casing.scatter import Scatter, scatter

__all__ = [
    "Casing",
    "Density",
    "LinkPlan",
    "Scatter",
    "batter_density",
    "cellulose",
    "collagen",
    "drivers",
    "machine",
    "natural",
    "plan_links",
    "scatter",
    "weighed",
]
