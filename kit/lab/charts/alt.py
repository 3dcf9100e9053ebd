"""Vega-Lite charts as plain dictionaries, under the names that Altair gives their parts.

Altair itself would cost every first panel half a second and 30 MB, and each chart a tenth of a second; the tests hold what is
made here to its schema.
"""

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.4.1.json"
TYPES = {"Q": "quantitative", "N": "nominal", "O": "ordinal"}
Undefined = object()
"""leaves out what a style would say"""


def _plain(**said) -> dict:
    return {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in said.items()
        if value is not Undefined
    }


Scale = Axis = Legend = TitleParams = _plain


def X(field: str, **said) -> dict:
    """A field with its kind, "kg:Q", and what is said of its axis, scale or legend."""
    name, _, kind = field.rpartition(":")
    return {"field": name, "type": TYPES[kind], **_plain(**said)}


Y = Color = Shape = Size = StrokeWidth = StrokeDash = Tooltip = X


def datum(value, **said) -> dict:
    """One place on an axis."""
    return {"datum": value, **_plain(**said)}


XDatum = YDatum = datum


def value(value) -> dict:
    """A property as it is: pixels, a colour."""
    return {"value": value}


def expr(formula: str) -> dict:
    """A property of the mark that each row gives."""
    return {"expr": formula}


def condition(test: str, met: dict, other: dict) -> dict:
    """One property where a row meets `test`, another where it does not."""
    return {"condition": {"test": test, **met}, **other}


def Step(pixels: float) -> dict:
    """The height of one line."""
    return {"step": pixels}


class Drawing(dict):
    """One layer or several, as the dictionary that Vega-Lite reads."""

    def encode(self, **channels) -> "Drawing":
        made = {name: _channel(name, said) for name, said in channels.items()}
        return Drawing(self, encoding={**self.get("encoding", {}), **made})

    def transform_filter(self, test: str) -> "Drawing":
        return Drawing(self, transform=[*self.get("transform", []), {"filter": test}])

    def properties(self, **said) -> "Drawing":
        return Drawing(self, **_plain(**said))

    def __add__(self, other: "Drawing") -> "Drawing":  # type: ignore[override]
        return layer(*self.get("layer", [self]), other)


def _channel(name: str, said):
    if not isinstance(said, str):
        return said
    made = X(said)
    if name in ("x2", "y2"):
        del made["type"]  # the other end has that of the first
    return made


def chart(data: str, mark: str, **look) -> Drawing:
    """A mark over the data set of this name."""
    return Drawing(data={"name": data}, mark={"type": mark, **_plain(**look)})


def layer(*charts: Drawing) -> Drawing:
    """Charts one over the other, each with its own data set."""
    return Drawing(layer=list(charts))
