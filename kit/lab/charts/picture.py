"""Several charts as one picture, for a notebook that is stored and for README."""

from collections.abc import Mapping
from io import BytesIO


def png_of(specs: Mapping[str, dict], data: Mapping[str, Mapping[str, list]]) -> bytes:
    """The charts that have rows, two beside each other, in 64 colours: a sixth of the size, so that stored notebooks stay light."""
    import vl_convert
    from PIL import Image

    apart = ("config", "$schema", "datasets")
    whole = {key: one for key, one in next(iter(specs.values())).items() if key in apart[:2]} | {
        "columns": 2,
        "concat": [
            _renamed({k: v for k, v in specs[name].items() if k not in apart}, name)
            for name in specs
            if name in data
        ],
        "spacing": 30,
        "resolve": {
            "scale": {"color": "independent", "strokeDash": "independent"},
            "legend": {"color": "independent"},
        },
        "datasets": {f"{at}.{name}": rows for at in data for name, rows in data[at].items()},
    }
    drawn, out = Image.open(BytesIO(vl_convert.vegalite_to_png(whole, scale=1.0))), BytesIO()
    drawn.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
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
