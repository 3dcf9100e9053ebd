"""The charts of a panel as one PNG, for places where nothing runs."""

from collections.abc import Mapping
from io import BytesIO

import vl_convert
from PIL import Image


def png_of(specs: Mapping[str, dict], data: Mapping[str, Mapping[str, list]]) -> bytes:
    """Those charts that have data, two side by side, in 64 colours: a sixth of the size, so that stored notebooks stay light."""
    parts, config = [], {}
    for name, spec in specs.items():
        if name not in data:
            continue
        part = {k: v for k, v in spec.items() if k not in ("config", "$schema", "datasets")}
        config = spec.get("config", config)
        parts.append(_renamed(part, name))
    whole = {
        "$schema": next(iter(specs.values()))["$schema"],
        "config": config,
        "columns": 2,
        "concat": parts,
        "spacing": 30,
        "resolve": {
            "scale": {"color": "independent", "strokeDash": "independent"},
            "legend": {"color": "independent"},
        },
        "datasets": {
            f"{chart}.{name}": rows for chart, sets in data.items() for name, rows in sets.items()
        },
    }
    drawn, out = BytesIO(vl_convert.vegalite_to_png(whole, scale=1.0)), BytesIO()
    few = Image.open(drawn).convert("RGB").quantize(64, dither=Image.Dither.NONE)
    few.save(out, "PNG", optimize=True)
    return out.getvalue()


def _renamed(part, chart: str):
    """The same spec with its data sets named chart.set, so that several charts fit in one."""
    if isinstance(part, dict):
        return {
            key: (
                {"name": f"{chart}.{item['name']}"}
                if key == "data" and isinstance(item, dict) and set(item) == {"name"}
                else _renamed(item, chart)
            )
            for key, item in part.items()
        }
    return [_renamed(item, chart) for item in part] if isinstance(part, list) else part
