"""One batch's books: losses and yields beside what was expected, balances that do not close, who is to blame, and what it costs."""

import altair as alt

from kit import units
from kit.lab.charts.style import (
    COLOUR,
    LABEL,
    LIMIT_DASH,
    beyond,
    finished,
    names_down,
    numbered,
    rows,
)

SUSPECTS, LEAST = 7, 0.02
"""so many causes are drawn, and none that explains less than this share"""
HUE = {
    "node": "loss",
    "weight": "cold",
    "scale, fixed": "cold",
    "scale, share": "cold",
    "every stage": "carbohydrate",
}
WHAT = {"node": "hole", "weight": "scale"}


def _edge(field: str, x) -> alt.Chart:
    return (
        alt.Chart(rows(field))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"])
        .encode(x=x("at:Q"))
    )


SIDE, MOST = 62.0, 32.0
"""the picture of losses: where its figures stand, and how far its marks reach"""


# weighed beside expected ---------------------------------------------------------------------------------------------------------------
def losses_chart(system: str) -> dict:
    """Each stage's loss in percent of what went in: weighed, usual in the trade, expected by the chain. A square root opens up the small ones."""

    def x(field):
        return alt.X(
            field,
            title="% of what went in",
            scale=alt.Scale(type="sqrt", domain=[0, SIDE], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 2, 5, 10, 20, 30]),
        )

    y = names_down("place", 150, grid=True)
    band = (
        alt.Chart(rows("usual"))
        .mark_rule(strokeWidth=17, color=COLOUR["band"])
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    reach = (
        alt.Chart(rows("chain"))
        .mark_rule(strokeWidth=3, color=COLOUR["cold"])
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    ring = (
        alt.Chart(rows("chain"))
        .mark_point(
            size=170, filled=True, color="white", stroke=COLOUR["cold"], strokeWidth=3, opacity=1
        )
        .encode(y=y, x=x("pct:Q"))
    )
    dot = (
        alt.Chart(rows("weighed"))
        .mark_point(size=150, filled=True, color=COLOUR["loss"], opacity=1)
        .encode(
            y=y,
            x=x("pct:Q"),
            tooltip=[alt.Tooltip("label:N", title="what"), alt.Tooltip("words:N", title="weighed")],
        )
    )
    words = (
        alt.Chart(rows("weighed"))
        .mark_text(align="right", fontSize=LABEL, fontWeight=600, clip=False)
        .encode(y=y, x=x("end:Q"), text="words:N")
    )
    return finished(
        (band + reach + ring + dot + words).properties(width=265, height=alt.Step(29)),
        "What each stage lost",
        "dot: weighed; ring: the chain; grey: usual",
    )


def losses_data(found) -> dict[str, list[dict]]:
    """Rows for `losses_chart` from kit.chain.yields.BooksOf. A gain is drawn at 0 and written as what it is."""
    sets = {"usual": [], "chain": [], "weighed": []}
    for n, b in enumerate(found.beside):
        place = numbered(n, b.what)
        for name, e in (("usual", b.usual), ("chain", b.chain)):
            if e:
                sets[name].append(
                    {
                        "place": place,
                        **{
                            key: min(pct, MOST)
                            for key, pct in (
                                ("pct", e.pct),
                                ("low", e.low_pct),
                                ("high", e.high_pct),
                            )
                        },
                    }
                )
        sets["weighed"].append(
            {
                "place": place,
                "label": b.what,
                "pct": None if b.pct is None else min(max(b.pct, 0.0), MOST),
                "end": SIDE,
                "words": ""
                if b.pct is None
                else f"{b.pct:.2f} %{beyond(b.pct, MOST, 0.0)}".replace("-", "−"),
            }
        )
    return sets


def losses_text(found) -> str:
    return "Losses by stage. " + " ".join(
        f"{b.what}: weighed {b.pct:.2f} %, expected {b.expected.pct:.2f} %."
        for b in found.beside
        if b.pct is not None and b.expected
    )


def yields_chart(system: str) -> dict:
    """The end of the line in percent of every base, weighed and expected."""

    def x(field):
        return alt.X(
            field,
            title="% of that weight",
            scale=alt.Scale(domain=[60, 172], nice=False, clamp=True),
            axis=alt.Axis(values=[60, 80, 100, 120, 140]),
        )

    y = names_down("place", 110, grid=True)
    reach = (
        alt.Chart(rows("chain"))
        .mark_rule(strokeWidth=3, color=COLOUR["cold"])
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    ring = (
        alt.Chart(rows("chain"))
        .mark_point(
            size=170, filled=True, color="white", stroke=COLOUR["cold"], strokeWidth=3, opacity=1
        )
        .encode(y=y, x=x("pct:Q"))
    )
    dot = (
        alt.Chart(rows("weighed"))
        .mark_point(
            size=alt.expr("datum.chosen ? 330 : 150"), filled=True, color=COLOUR["gain"], opacity=1
        )
        .encode(
            y=y,
            x=x("pct:Q"),
            tooltip=[alt.Tooltip("label:N", title="of"), alt.Tooltip("words:N", title="weighed")],
        )
    )
    words = (
        alt.Chart(rows("weighed"))
        .mark_text(align="right", fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("end:Q"), text="words:N")
    )
    return finished(
        (_edge("edge", x) + reach + ring + dot + words).properties(width=290, height=alt.Step(29)),
        "The yield on every base",
        "dot: weighed; ring: expected; dashed: 100 %",
    )


def yields_data(found, base: str) -> dict[str, list[dict]]:
    sets = {"chain": [], "weighed": [], "edge": [{"at": 100}]}
    for n, line in enumerate(found.yields):
        place = numbered(n, line.base)
        if line.expected_pct is not None:
            sets["chain"].append(
                {
                    "place": place,
                    "pct": line.expected_pct,
                    "low": line.low_pct,
                    "high": line.high_pct,
                }
            )
        sets["weighed"].append(
            {
                "place": place,
                "label": line.base,
                "pct": None if line.pct is None else min(line.pct, 145.0),
                "end": 172.0,
                "chosen": line.base == base,
                "words": "" if line.pct is None else f"{line.pct:.1f} %{beyond(line.pct, 145, 60)}",
            }
        )
    return sets


def yields_text(found) -> str:
    return "Yields. " + " ".join(
        f"On {y.base}: weighed {y.pct:.1f} %." for y in found.yields if y.pct is not None
    )


# do they close -------------------------------------------------------------------------------------------------------------------------
REACH, BESIDE = 10.0, 17.0
"""how many doubts the picture of the balances reaches, and where its kilograms stand"""


def balances_chart(system: str) -> dict:
    """What is missing at every stage and hand-over, over its doubt; dashed where chance ends."""

    def x(field):
        return alt.X(
            field,
            title="missing, in standard deviations",
            scale=alt.Scale(domain=[-REACH, BESIDE], nice=False, clamp=True),
            axis=alt.Axis(values=[-10, -5, 0, 5, 10]),
        )

    y = names_down("place", 130, grid=True)
    bar = (
        alt.Chart(rows("nodes"))
        .mark_bar(height=14)
        .encode(
            y=y,
            x=x("z:Q"),
            x2="zero:Q",
            color=alt.Color("colour:N", scale=None),
            tooltip=[alt.Tooltip("label:N", title="at"), alt.Tooltip("words:N", title="missing")],
        )
    )
    words = (
        alt.Chart(rows("nodes"))
        .mark_text(align="right", fontSize=LABEL - 1, color=COLOUR["ink"])
        .encode(y=y, x=x("end:Q"), text="words:N")
    )
    return finished(
        (bar + _edge("edge", x) + words).properties(width=280, height=alt.Step(21)),
        "What is missing where",
        "dashed: as far as chance goes",
    )


def balances_data(found, limit: float, system: str) -> dict[str, list[dict]]:
    """Rows from a Reconciled; `limit` in standard deviations. Nodes that no balance checks say so; joined nodes share one balance."""
    at = {
        found.graph.nodes[node]: check
        for check, group in enumerate(found.checks.groups)
        for node in group
    }
    listed = []
    for n, node in enumerate(found.graph.nodes):
        check = at.get(node)
        z = 0.0 if check is None else float(found.node_z[check])
        words = (
            "not checked"
            if check is None
            else units.show(float(found.missing_kg[check]), "kg", system) + beyond(z, REACH, -REACH)
        )
        listed.append(
            {
                "place": numbered(n, node),
                "label": node,
                "z": max(min(z, REACH), -REACH),
                "zero": 0.0,
                "end": BESIDE,
                "words": words,
                "colour": COLOUR["unexplained"]
                if abs(z) <= limit
                else COLOUR["loss"]
                if z > 0
                else COLOUR["cold"],
            }
        )
    return {"nodes": listed, "edge": [{"at": -limit}, {"at": limit}]}


def balances_text(found) -> str:
    return "What is missing at each balance. " + " ".join(
        f"{name}: {kg:.2f} kg, {z:.1f} standard deviations."
        for name, kg, z in zip(found.checks.names, found.missing_kg, found.node_z)
    )


def suspects_chart(system: str) -> dict:
    """How much of the imbalance each single cause would explain, best first; dashed: what it takes to close the books."""

    def x(field):
        return alt.X(
            field,
            title="% of the imbalance it explains",
            scale=alt.Scale(domain=[0, 112], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 25, 50, 75, 100]),
        )

    y = names_down("place", 195)
    bar = (
        alt.Chart(rows("groups"))
        .mark_bar(height=26)
        .encode(
            y=y,
            x=x("share:Q"),
            color=alt.Color("colour:N", scale=None),
            tooltip=[alt.Tooltip("label:N", title="cause")],
        )
    )
    words = (
        alt.Chart(rows("groups"))
        .mark_text(align="left", dx=6, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("from:Q"), text="words:N", color=alt.Color("ink:N", scale=None))
    )
    return finished(
        (bar + _edge("edge", x) + words).properties(width=235, height=alt.Step(44)),
        "Which one cause explains it?",
        "right of the dashed line it would close the books",
    )


def suspects_data(checked, system: str) -> dict[str, list[dict]]:
    """Rows from a kit.chain.closing.Checked whose books do not close."""
    suspects, g = checked.found.suspects, checked.found.global_stat
    listed = []
    for n, group in enumerate(
        group for group in suspects.groups[:SUSPECTS] if group.drop > LEAST * g
    ):
        first = group.causes[0]
        name = f"{WHAT[first.kind]}: {first.place}" if first.kind in WHAT else first.place
        alike = f", or {len(group.causes) - 1} more" if len(group.causes) > 1 else ""
        share = 100 * group.drop / g
        inside = share > 55
        size = f"{units.to_shown(abs(first.size), first.unit, system):.3g} {units.shown_unit(first.unit, system)}"
        listed.append(
            {
                "place": numbered(n, name),
                "label": group.words(system),
                "share": share,
                "from": 0.0 if inside else share,
                "words": f"{size}{alike}",
                "colour": COLOUR[HUE[first.kind]],
                "ink": "white" if inside and first.kind != "every stage" else COLOUR["ink"],
            }
        )
    return {
        "groups": listed,
        "edge": [{"at": 100 * (1 - min(checked.in_turn.turns[0].limit / g, 1.0))}],
    }


def suspects_text(found) -> str:
    return "Causes, best first. " + " ".join(
        f"{group}: explains {100 * group.drop / found.global_stat:.0f} %."
        for group in found.suspects.groups[:SUSPECTS]
    )


# the printed table ---------------------------------------------------------------------------------------------------------------------
def kept_chart(part: str, system: str) -> dict:
    """How much of a part the cook left, by fat level: worked out as a bar, printed as a mark."""

    def x(field):
        return alt.X(
            field,
            title=f"% of the raw {part}",
            scale=alt.Scale(domain=[0, 125], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 25, 50, 75, 100]),
        )

    y = names_down("place", 120)
    bar = (
        alt.Chart(rows("kept"))
        .mark_bar(height=30)
        .encode(y=y, x=x("pct:Q"), color=alt.Color("colour:N", scale=None))
    )
    printed = (
        alt.Chart(rows("printed"))
        .mark_point(
            shape="diamond",
            size=260,
            filled=True,
            color="white",
            stroke=COLOUR["ink"],
            strokeWidth=3,
            opacity=1,
        )
        .encode(y=y, x=x("pct:Q"))
    )
    words = (
        alt.Chart(rows("kept"))
        .mark_text(align="left", dx=8, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("zero:Q"), text="words:N", color=alt.Color("ink:N", scale=None))
    )
    return finished(
        (
            bar + words + (printed + _edge("edge", x) if part == "fat" else _edge("edge", x))
        ).properties(width=290, height=alt.Step(46)),
        f"{part.capitalize()} that stayed",
        "diamond: printed; dashed: all there was" if part == "fat" else "dashed: all there was",
    )


def kept_data(books: dict, printed: dict, part: str, hue: str) -> dict[str, list[dict]]:
    """Rows from {fat level: PartBooks} and {fat level: printed %}."""
    kept = [
        {
            "place": numbered(n, f"{level:g} % fat"),
            "pct": found.retained_pct[part],
            "zero": 0.0,
            "words": f"{'✗ ' if found.retained_pct[part] > 100 else ''}{found.retained_pct[part]:.1f} %",
            "colour": COLOUR["fails"] if found.retained_pct[part] > 100 else COLOUR[hue],
            "ink": COLOUR["ink"] if hue == "fat" and found.retained_pct[part] <= 100 else "white",
        }
        for n, (level, found) in enumerate(books.items())
    ]
    marks = [
        {"place": row["place"], "pct": printed[level]}
        for row, level in zip(kept, books)
        if level in printed
    ]
    return {"kept": kept, "edge": [{"at": 100}], **({"printed": marks} if marks else {})}


def kept_text(books: dict, part: str) -> str:
    return f"{part.capitalize()} retained. " + " ".join(
        f"{level:g} % fat: {found.retained_pct[part]:.1f} %." for level, found in books.items()
    )


# money ---------------------------------------------------------------------------------------------------------------------------------
def worth_chart(system: str) -> dict:
    """Each loss in money, dearest first, as a share of them all."""

    def x(field):
        return alt.X(
            field,
            title="% of all the money lost",
            scale=alt.Scale(domain=[0, 100], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 20, 40, 60, 80, 100]),
        )

    y = names_down("place", 260)
    bar = (
        alt.Chart(rows("losses"))
        .mark_bar(height=20)
        .encode(y=y, x=x("share:Q"), color=alt.Color("colour:N", scale=None))
    )
    words = (
        alt.Chart(rows("losses"))
        .mark_text(align="left", dx=7, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("share:Q"), text="words:N")
    )
    return finished(
        (bar + words).properties(width=470, height=alt.Step(29)),
        "What each loss cost",
        "dearest first, at your prices; kilograms beside it",
    )


KIND_HUE = {
    "lost": "loss",
    "scrap": "salt",
    "sample": "carbohydrate",
    "unexplained": "unexplained",
    "giveaway": "cure",
    "rework out": "gain",
}


def worth_data(found, system: str) -> dict[str, list[dict]]:
    """Rows from Money. A gain with no addition takes money off and is left out of the picture."""
    ranked = sorted(
        (w for w in found.losses if w.money is not None and w.kg > 1e-9),
        key=lambda w: (-w.money, w.label),
    )
    total = sum(w.money for w in ranked)
    return {
        "losses": [
            {
                "place": numbered(n, w.label),
                "share": 100 * w.money / total if total else 0.0,
                "colour": COLOUR[KIND_HUE[w.kind]],
                "words": f"{w.money:.2f} for {units.show(w.kg, 'kg', system)}",
            }
            for n, w in enumerate(ranked)
        ]
    }


def worth_text(found) -> str:
    return "Losses in money. " + " ".join(
        f"{w.label}: {w.kg:.2f} kg, {w.money:.2f}." for w in found.losses if w.money is not None
    )
