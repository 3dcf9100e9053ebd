"""How many links, how much casing; how far do lengths and weights scatter?

casing = machine(22, batter_density(air_pct=3))
casing = natural("sheep 22-24"), cellulose(21) or weighed("hog", 4.1, 10)
plan_links(100, casing, weight_g=50, strand_m=25)       links, metres and strands
weights = kit.reading.measured.read_measured("51.2 49.8 50,5 52", "g", decimal=",")
scatter(weights, low=48, high=54, declared_g=50, price_per_kg=6.5)
drivers(weights, lengths, diameters)                    does length or diameter drive the weights? (measured columns)
"""

from kit.casing.kinds import Casing
from kit.casing.plan import LinkPlan, plan_links
from kit.casing.scatter import Scatter, scatter

__all__ = ["Casing", "LinkPlan", "Scatter", "plan_links", "scatter"]
