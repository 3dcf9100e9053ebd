"""Can the class see it, how often would it say the right thing, and what did it find?"""

from collections.abc import Iterable, Sequence

from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, named_list, picture, up
from kit.lab.charts.style import COLOUR, numbered
from kit.trial.rehearse import outcome

MOST_POINTS, MOST_STATIONS = 10.0, 16
"""where the axes of the two charts of the chance end"""
LEAST, MOST = -6.0, 12.0
"""ends of the axis of effects, percentage points"""
LOSS_PCT = 25.0
SHOWN = 40
"""simulated classes whose intervals are drawn"""
EFFECT = "effect (percentage points)"
OUTCOMES = {"right": "meets", "undecided": "unexplained", "wrong": "fails"}


def _pct():
    return up("pct:Q", "chance of seeing it (%)", 0, 100, ticks=(0, 20, 40, 60, 80, 100))


def _chance(x, title: str, subtitle: str, *under) -> dict:
    """The chance over x: a line, a ring where the plan stands."""
    y = _pct()
    return picture(
        title,
        subtitle,
        (400, 290),
        *under,
        layer("curve", "line", x=x, y=y, colour="cold"),
        layer("here", "ring", x=x, y=y),
        layer("here", "words", x=x, y=y, dx=14, dy=16, text="words:N", halo=True),
    )


@alt.kept
def power_chart(system: str) -> dict:
    """Chance over the size of the effect; the model's prediction as a field, the smallest difference worth knowing as a line."""
    x = across("points:Q", f"true {EFFECT}", 0, MOST_POINTS, clamp=True)
    wide = {"x": alt.X("low:Q", scale=x["scale"]), "x2": "high:Q"}
    model = layer("model", "shade", **wide, color=COLOUR["band"], opacity=0.6)
    subtitle = "dashed: smallest difference worth knowing; grey: predicted by the model (90 %)"
    return _chance(x, "Chance of seeing an effect", subtitle, model, layer("worth", "limit", x=x))


@alt.kept
def stations_chart(system: str) -> dict:
    """Chance of seeing the smallest difference worth knowing over the number of stations, for several numbers of tubes of a batter."""
    x = across("stations:Q", "stations", 2, MOST_STATIONS, ticks=8, clamp=True)
    look = {"detail": alt.Detail("tubes:N"), "colour": "band", "strokeWidth": 2}
    others = layer("others", "line", x=x, y=_pct(), **look)
    subtitle = "grey: the same with 1 to 6 tubes of each batter"
    return _chance(x, "Stations decide, tubes hardly", subtitle, others)


def _effects(field: str = "low:Q"):
    return across(field, EFFECT, LEAST, MOST, ticks=range(-6, 13, 3), clamp=True)


def _zero():
    return layer("zero", "rule", x=_effects("at:Q"), color=COLOUR["ink"], strokeWidth=1.5)


@alt.kept
def intervals_chart(system: str) -> dict:
    """The intervals of simulated classes, sorted; the true effect as a dashed line."""
    y = alt.Y("n:O", title=None, axis=None)
    wide = {"x": _effects(), "x2": "high:Q", "y": y}
    outcome = alt.Color(
        "outcome:N",
        scale=alt.Scale(domain=list(OUTCOMES), range=[COLOUR[c] for c in OUTCOMES.values()]),
        legend=alt.Legend(title=None),
    )
    return picture(
        f"{SHOWN} of the simulated classes",
        "95 % confidence intervals; dashed: true effect; line: no effect",
        (420, 320),
        layer("classes", "rule", **wide, color=outcome),
        _zero(),
        layer("truth", "limit", x=_effects("at:Q")),
        layer("classes", "dot", x=_effects("found:Q"), y=y, color=outcome, size=40),
    )


def intervals_data(intervals: Sequence, truth: float) -> dict[str, list[dict]]:
    """Rows for `intervals_chart` from (low, found, high)."""
    rows = [
        {"n": n, "low": low, "found": found, "high": high, "outcome": outcome(low, high, truth)}
        for n, (low, found, high) in enumerate(sorted(intervals[:SHOWN], key=lambda one: one[1]))
    ]
    return {"classes": rows, "zero": [{"at": 0}], "truth": [{"at": truth}]}


@alt.kept
def shares_chart(system: str) -> dict:
    """Bars of right, undecided, wrong in sign."""
    x = across("pct:Q", "simulated classes (%)", 0, 100, ticks=(0, 25, 50, 75, 100))
    layers = [
        ("shares", "bar", {"x": x, "colour": "colour:N"}),
        ("shares", "words", {"x": x, "text": "words:N"}),
    ]
    title = "What the class would say at the end"
    return named_list(title, "", layers, labels=130, width=250, row=44)


def shares_data(shares: Iterable[tuple[str, float]]) -> dict[str, list[dict]]:
    """Rows for `shares_chart` from (words, %)."""
    rows = [
        {"place": numbered(n, name), "pct": pct, "words": f"{pct:.0f} %"}
        | {"colour": COLOUR[OUTCOMES.get(name, "fails")]}
        for n, (name, pct) in enumerate(shares)
    ]
    return {"shares": rows}


@alt.kept
def tubes_chart(system: str) -> dict:
    """Losses of every tube by station; a ring around what a finding is about."""
    x = across("loss:Q", "loss (% of the filled weight)", 0, LOSS_PCT, clamp=True)
    level = alt.Color("level:N", scale=alt.Scale(range=TONES), legend=alt.Legend(title=None))
    layers = [
        ("tubes", "dot", {"x": x, "color": level, "size": 110}),
        ("asked", "dot", {"x": x, "filled": False, "size": 420, "color": COLOUR["ink"]}),
        ("asked", "words", {"x": x, "dx": 14, "text": "words:N"}),
    ]
    subtitle = "ring: what the finding is about, where it was read"
    return named_list("Every tube", subtitle, layers, labels=110, width=420, row=34)


TONES = [COLOUR[one] for one in ("cold", "loss", "fat", "salt", "carbohydrate")]


@alt.kept
def answer_chart(system: str) -> dict:
    """The model's prediction, the class's interval, and each station's own difference beside its guess."""
    wide = {"x": _effects(), "x2": "high:Q"}
    dot = {"x": _effects("found:Q"), "colour": "colour:N"}
    guess = {"x": _effects("guess:Q"), "shape": alt.value("diamond"), "size": 170, "filled": False}
    layers = [
        ("rows", "interval", wide),
        ("rows", "dot", dot),
        ("guesses", "dot", {**guess, "color": COLOUR["ink"], "strokeWidth": 2.5}),
    ]
    worth = layer("worth", "limit", x=_effects("at:Q"))
    title, subtitle = "Guess, prediction and result", "diamond: the station's guess"
    subtitle += "; dashed: smallest difference worth knowing"
    under = [_zero(), worth]
    return named_list(title, subtitle, layers, labels=190, width=460, row=31, under=under)
