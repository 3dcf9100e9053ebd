"""Between which conductivities does any arrangement of the same components lie? Layers along the flow of heat, and across it."""

from kit.properties.components import (
    component_conductivity_W_per_mK,
    component_density_kg_per_m3,
)
from kit.tables import value


def bounds_W_per_mK(makeup, t_C, air_pct=0.0):
    """(across, along) of a Makeup at t_C, air_pct of its volume being air."""
    names, shares = zip(*makeup.parts())
    volumes = [x / component_density_kg_per_m3(n, t_C) for n, x in zip(names, shares)]
    air, whole = air_pct / 100, sum(volumes)
    layers = [
        (v / whole * (1 - air), component_conductivity_W_per_mK(n, t_C))
        for n, v in zip(names, volumes)
    ]
    layers.append((air, value("air_conductivity")))
    return 1 / sum(v / k for v, k in layers), sum(v * k for v, k in layers)
