"""The same fat in smaller drops: protein asked and protein in solution, and a square of batter drawn to scale."""

import altair as alt
import numpy as np

from kit.lab.charts.style import COLOUR, LABEL, WIDTH, finished, rows

FILM_UM, FILM_G = (2.0, 80.0), (0.005, 10.0)
SIDE_UM, SIDE_PX = 120.0, 300


def film_chart(system: str) -> dict:
    """Protein that would coat the drops against their size, with the doubt about the film's thickness; the protein in solution as a line."""
    x = alt.X(
        "um:Q",
        title="size of the fat drops, µm",
        scale=alt.Scale(type="log", domain=list(FILM_UM), nice=False),
        axis=alt.Axis(values=[2, 5, 10, 20, 40, 80], grid=True),
    )
    how = {
        "title": "protein, g in 100 g batter",
        "scale": alt.Scale(type="log", domain=list(FILM_G), nice=False, clamp=True),
        "axis": alt.Axis(values=[0.01, 0.1, 1, 10]),
    }
    y = alt.Y("g:Q", **how)
    band = (
        alt.Chart(rows("asked"))
        .mark_area(color=COLOUR["fat"], opacity=0.45, clip=True)
        .encode(x=x, y=y, y2="high:Q")
    )
    line = (
        alt.Chart(rows("asked"))
        .mark_line(color="#8a6a00", strokeWidth=4, clip=True)
        .encode(x=x, y=alt.Y("mid:Q", **how))
    )
    have = alt.Chart(rows("have")).mark_rule(color=COLOUR["protein"], strokeWidth=4).encode(y=y)
    words = (
        alt.Chart(rows("have"))
        .mark_text(
            align="right", dy=-11, dx=-4, fontSize=LABEL, fontWeight=600, color=COLOUR["protein"]
        )
        .encode(x=x, y=y, text="words:N")
    )
    asked = (
        alt.Chart(rows("named"))
        .mark_text(align="right", dy=20, fontSize=LABEL, fontWeight=600, color="#6b5200")
        .encode(x=x, y=y, text="words:N")
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=260, filled=True, color="white", stroke=COLOUR["point"], strokeWidth=4, opacity=1
        )
        .encode(x=x, y=y)
    )
    return finished(
        (band + line + have + words + asked + point).properties(width=WIDTH - 40, height=SIDE_PX),
        "Protein asked, protein in solution",
        "yellow: thin to thick film; ring: this batter",
    )


def film_data(film) -> dict[str, list[dict]]:
    """Rows for `film_chart` from a panel's Film."""
    um = np.geomspace(*FILM_UM, 41)
    per_um = film.held.film_protein_g * film.batter.drop_um
    thin, thick = film.thinnest_share, film.thickest_share
    low = FILM_G[0]
    asked = [
        {"um": u, "mid": max(m, low), "g": max(m * thin, low), "high": max(m * thick, low)}
        for u, m in zip(um.tolist(), (per_um / um).tolist())
    ]
    have, here = film.held.dissolved_protein_g, film.held.film_protein_g
    return {
        "asked": asked if here > 0 else [],
        "have": [
            {
                "um": FILM_UM[1],
                "g": max(have, low),
                "words": f"in solution: {have:.2f} g" if have >= low else "in solution: none",
            }
        ],
        "named": [
            {
                "um": FILM_UM[1] * 0.97,
                "g": max(per_um / FILM_UM[1], low * 1.5),
                "words": "asked by the fat's surface",
            }
        ]
        if here > 0
        else [],
        "here": [{"um": film.batter.drop_um, "g": min(max(here, low), FILM_G[1])}],
    }


def film_text(film) -> str:
    return (
        f"Protein that would coat the fat against drop size. At {film.batter.drop_um:g} µm the fat asks for {film.held.film_protein_g:.2f} g; "
        f"{film.held.dissolved_protein_g:.2f} g are in solution."
    )


def drops_chart(system: str) -> dict:
    """A square of batter with the free fat as drops, to scale. A drop with a film has a thick ring, a bare one a thin broken ring."""
    scale = alt.Scale(domain=[0, SIDE_UM], nice=False)
    x = alt.X("x:Q", scale=scale, axis=None)
    y = alt.Y("y:Q", scale=scale, axis=None)
    gel = alt.Chart(rows("gel")).mark_rect(color="#f3e3e6").encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    size = alt.Size("px2:Q", scale=None)
    drops = (
        alt.Chart(rows("drops"))
        .mark_circle(opacity=1, clip=True, aria=False)
        .encode(x=x, y=y, size=size, color=alt.value(COLOUR["fat"]))
    )
    ring = (
        alt.Chart(rows("drops"))
        .transform_filter("datum.film")
        .mark_point(filled=False, opacity=1, clip=True, aria=False, stroke=COLOUR["protein"])
        .encode(x=x, y=y, size=size, strokeWidth=alt.StrokeWidth("ring:Q", scale=None))
    )
    bare = (
        alt.Chart(rows("drops"))
        .transform_filter("!datum.film")
        .mark_point(
            filled=False,
            opacity=1,
            clip=True,
            aria=False,
            stroke=COLOUR["ink"],
            strokeWidth=1.5,
            strokeDash=[3, 3],
        )
        .encode(x=x, y=y, size=size)
    )
    return finished(
        (gel + drops + ring + bare).properties(width=SIDE_PX, height=SIDE_PX),
        "The same fat, as drops",
        [f"a square of {SIDE_UM:g} µm; dark ring: film, broken ring: bare"],
    )


def drops_data(film) -> dict[str, list[dict]]:
    """Drops on a grid, the same place for the same size. The share of drops with a film is the share of the surface that the protein covers."""
    share, um = film.free_fat_share, film.batter.drop_um
    gel = [{"x": 0, "y": 0, "x2": SIDE_UM, "y2": SIDE_UM}]
    if share <= 0:
        return {"gel": gel, "drops": []}
    pitch = um * np.sqrt(np.pi / 4 / share)
    n = max(int(np.ceil(SIDE_UM / pitch)), 1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    rng = np.random.default_rng(7)
    shake = 0.42 * max(pitch - um, 0) * (2 * rng.random((2, n * n)) - 1)
    x, y = (i + 0.5) * pitch + shake[0], (j + 0.5) * pitch + shake[1]
    coated = rng.permutation(n * n) < round(film.covered_share * n * n)
    px = um * SIDE_PX / SIDE_UM
    ring = min(max(0.14 * px, 1.2), 5)
    return {
        "gel": gel,
        "drops": [
            {"x": a, "y": b, "px2": np.pi / 4 * px**2, "ring": ring, "film": bool(c)}
            for a, b, c in zip(x.tolist(), y.tolist(), coated.tolist())
        ],
    }


def drops_text(film) -> str:
    return f"Picture of fat drops of {film.batter.drop_um:g} µm in a square of {SIDE_UM:g} µm. The protein in solution coats {100 * film.covered_share:.0f} % of their surface."
