"""One batch's mass balance: losses and yields beside what was expected, what is missing, its cost."""

import altair as alt

from kit import units
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, LABEL, beyond, numbered
from kit.lab.charts.yields import KINDS
from kit.yields.suspects import EVERY, NODE, WEIGHT

SUSPECTS, LEAST = 7, 0.02
"""so many causes are drawn, and none that explains less than this share"""
HUE = {NODE: "loss", WEIGHT: "cold", EVERY: "carbohydrate"}
WHAT = {NODE: "loss", WEIGHT: "scale"}
SIDE, MOST = 62.0, 32.0
"""the picture of losses: where its figures stand, and how far its marks reach"""
REACH, BESIDE = 10.0, 17.0
"""how many standard deviations the balances reach, and where their kilograms stand"""


def _expected(x) -> list:
    """Range and ring of what was expected."""
    ring = {"size": 170, "stroke": COLOUR["cold"], "strokeWidth": 3, "clip": False}
    return [
        ("expected", "rule", {"x": x("low:Q"), "x2": "high:Q", "colour": "cold"}),
        ("expected", "ring", {"x": x("pct:Q"), **ring}),
    ]


def _tip(label: str, words: str) -> dict:
    return {"tooltip": [alt.Tooltip("label:N", title=label), alt.Tooltip("words:N", title=words)]}


def _figures(data: str, x, **more) -> tuple:
    """Words that end at the right edge of the picture."""
    right = {"x": x("end:Q"), "text": "words:N", "align": "right", "dx": 0}
    return (data, "words", right | more)


def losses_chart(system: str) -> dict:
    """Each stage's loss in percent of what went in. A square root opens up the small ones."""

    def x(field):
        ticks = [0, 2, 5, 10, 20, 30]
        return across(field, "% of what went in", 0, SIDE, ticks=ticks, kind="sqrt", clamp=True)

    usual = {"x": x("low:Q"), "x2": "high:Q", "strokeWidth": 17}
    weighed = {"x": x("pct:Q"), "colour": "loss", **_tip("what", "weighed")}
    layers = [
        ("usual", "band", usual),
        *_expected(x),
        ("weighed", "dot", weighed),
        _figures("weighed", x, clip=False),
    ]
    subtitle = "dot: weighed; ring: batch model; grey: usual"
    size = {"labels": 150, "width": 265, "row": 29}
    return named_list("What each stage lost", subtitle, layers, grid=True, **size)


def losses_data(found) -> dict[str, list[dict]]:
    """Rows from a SheetBalance. A gain is drawn at 0 and written as what it is."""
    sets: dict[str, list[dict]] = {"usual": [], "expected": [], "weighed": []}
    for n, b in enumerate(found.compared):
        place, pct = numbered(n, b.what), b.pct
        for name, e in (("usual", b.usual), ("expected", b.model)):
            if e:
                pcts = {"pct": e.pct, "low": e.low_pct, "high": e.high_pct}
                drawn = {key: min(value, MOST) for key, value in pcts.items()}
                sets[name].append({"place": place, **drawn, "words": f"{name} {e.pct:.2f} %"})
        words = "" if pct is None else f"{pct:.2f} %{beyond(pct, MOST, 0.0)}".replace("-", "−")
        drawn = None if pct is None else min(max(pct, 0.0), MOST)
        row = {"place": place, "label": b.what, "pct": drawn, "end": SIDE, "words": words}
        sets["weighed"].append(row)
    return sets


def yields_chart(system: str) -> dict:
    """The end of the line in percent of every base, weighed and expected."""

    def x(field):
        ticks = [60, 80, 100, 120, 140]
        return across(field, "% of that weight", 60, 172, ticks=ticks, clamp=True)

    chosen = alt.condition("datum.chosen", alt.value(330), alt.value(150))
    weighed = {"x": x("pct:Q"), "colour": "gain", "size": chosen, **_tip("of", "weighed")}
    layers = [*_expected(x), ("weighed", "dot", weighed), _figures("weighed", x)]
    subtitle = "dot: weighed; ring: expected; dashed: 100 %"
    size = {"labels": 110, "width": 290, "row": 29}
    under = [layer("edge", "limit", x=x("at:Q"))]
    return named_list("The yield on every base", subtitle, layers, under=under, grid=True, **size)


def yields_data(found, base: str) -> dict[str, list[dict]]:
    sets: dict[str, list[dict]] = {"expected": [], "weighed": [], "edge": [{"at": 100}]}
    for n, line in enumerate(found.yields):
        place, pct = numbered(n, line.base), line.weighed and line.weighed.pct
        sd = line.weighed and line.weighed.sd_pct
        unsure = "" if sd is None else f" ± {sd:.1f}"
        if line.expected:
            reach = {"pct": line.expected.pct, "low": line.low_pct, "high": line.high_pct}
            words = f"expected {line.expected.pct:.1f} %"
            sets["expected"].append({"place": place, **reach, "words": words})
        sets["weighed"].append(
            {
                "place": place,
                "label": line.base,
                "pct": None if pct is None else min(pct, 145.0),
                "end": 172.0,
                "chosen": line.base == base,
                "words": "" if pct is None else f"{pct:.1f}{unsure} %{beyond(pct, 145, 60)}",
            }
        )
    return sets


def balances_chart(system: str) -> dict:
    """What is missing at every stage and transfer, over its standard deviation."""

    def x(field):
        title, ticks = "missing, in standard deviations", [-10, -5, 0, 5, 10]
        return across(field, title, -REACH, BESIDE, ticks=ticks, clamp=True)

    bar = {"x": x("z:Q"), "x2": "zero:Q", "height": 14, "colour": "colour:N"}
    plain = {"fontSize": LABEL - 1, "fontWeight": "normal", "color": COLOUR["ink"]}
    layers = [("nodes", "bar", bar | _tip("at", "missing")), _figures("nodes", x, **plain)]
    subtitle = "dashed: limits of random variation"
    size = {"labels": 130, "width": 280, "row": 21}
    under = [layer("edge", "limit", x=x("at:Q"))]
    return named_list("What is missing where", subtitle, layers, under=under, grid=True, **size)


def balances_data(found, limit: float, system: str) -> dict[str, list[dict]]:
    """Rows from a Reconciled; `limit` in standard deviations. Joined nodes share one balance."""
    at = {node: check for check, group in enumerate(found.checks.groups) for node in group}
    listed = []
    for n, node in enumerate(found.graph.nodes):
        z, words = 0.0, "not checked"
        if n in at:
            z, kg = float(found.node_z[at[n]]), float(found.missing_kg[at[n]])
            words = units.show(kg, "kg", system) + beyond(z, REACH, -REACH)
        hue = "unexplained" if abs(z) <= limit else "loss" if z > 0 else "cold"
        listed.append(
            {
                "place": numbered(n, node),
                "label": node,
                "z": max(min(z, REACH), -REACH),
                "zero": 0.0,
                "end": BESIDE,
                "words": words,
                "colour": COLOUR[hue],
            }
        )
    return {"nodes": listed, "edge": [{"at": -limit}, {"at": limit}]}


def suspects_chart(system: str) -> dict:
    """How much of the imbalance each single cause would explain; dashed: enough to close it."""

    def x(field):
        title, ticks = "% of the imbalance it explains", [0, 25, 50, 75, 100]
        return across(field, title, 0, 112, ticks=ticks, clamp=True)

    tip = {"tooltip": [alt.Tooltip("label:N", title="cause")]}
    layers = [
        ("groups", "bar", {"x": x("share:Q"), "colour": "colour:N", **tip}),
        ("groups", "words", {"x": x("from:Q"), "text": "words:N", "colour": "ink:N"}),
    ]
    subtitle = "right of the line, this cause alone closes the balance"
    size = {"labels": 195, "width": 235, "row": 44}
    under = [layer("edge", "limit", x=x("at:Q"))]
    return named_list("Which single cause explains it?", subtitle, layers, under=under, **size)


def suspects_data(found, system: str) -> dict[str, list[dict]]:
    """Rows from a Reconciled that does not close."""
    g = found.global_stat
    drawn = [group for group in found.suspects[:SUSPECTS] if group.drop > LEAST * g]
    listed = []
    for n, group in enumerate(drawn):
        first = group.causes[0]
        name = f"{WHAT[first.kind]}: {first.place}" if first.kind in WHAT else first.place
        alike = f", or {len(group.causes) - 1} more" if len(group.causes) > 1 else ""
        share = 100 * group.drop / g
        inside = share > 55
        size = units.to_shown(abs(first.size), first.unit, system)
        listed.append(
            {
                "place": numbered(n, name),
                "label": group.words(system),
                "share": share,
                "from": 0.0 if inside else share,
                "words": f"{size:.3g} {units.shown_unit(first.unit, system)}{alike}",
                "colour": COLOUR[HUE[first.kind]],
                "ink": "white" if inside and first.kind != EVERY else COLOUR["ink"],
            }
        )
    enough = 1 - min(found.suspects[0].limit / g, 1.0)
    return {"groups": listed, "edge": [{"at": 100 * enough}]}


def worth_chart(system: str) -> dict:
    """Each loss in money, costliest first, as a share of them all."""
    ticks = [0, 20, 40, 60, 80, 100]
    x = across("share:Q", "% of the cost of all losses", 0, 100, ticks=ticks, clamp=True)
    layers = [
        ("losses", "bar", {"x": x, "colour": "colour:N", "height": 20}),
        ("losses", "words", {"x": x, "text": "words:N", "dx": 7}),
    ]
    subtitle = "costliest first, at your prices; weight beside it"
    return named_list("What each loss cost", subtitle, layers, labels=260, width=470, row=29)


def worth_data(found, system: str) -> dict[str, list[dict]]:
    """Rows from Worth. A gain with no addition takes money off and is left out of the picture."""
    priced = [w for w in found.losses if w.money is not None and w.kg > 1e-9]
    total = sum(w.money for w in priced)
    ranked = sorted(priced, key=lambda w: (-w.money, w.label))
    return {
        "losses": [
            {
                "place": numbered(n, w.label),
                "share": 100 * w.money / total if total else 0.0,
                "colour": COLOUR[KINDS[w.kind]],
                "words": f"{w.money:.2f} for {units.show(w.kg, 'kg', system)}",
            }
            for n, w in enumerate(ranked)
        ]
    }
