"""What the step of a scale does to the dose: a funnel that opens for small batches."""

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.cure import PPM_SHOWN
from kit.lab.charts.marks import across, layer, measured, picture, up
from kit.lab.charts.style import WIDTH
from kit.lab.panels.view import columns

FIELDS = ("meat", "ppm", "low", "high")


@alt.kept
def scale_chart(system: str) -> dict:
    """The dose behind the nearest reading, against the size of the batch: a saw that opens into a funnel for small batches."""
    ticks = [1, 2, 5, 10, 20, 50, 100] if system == units.METRIC else [3, 5, 10, 20, 50, 100, 200]
    look = {"kind": "log", "ticks": ticks, "format": "~g"}
    x = measured(across, "meat:Q", "meat block", "kg", system, 1, 100, **look)
    y, at = (
        up(f"{field}:Q", "ingoing nitrite (ppm of meat)", 0, PPM_SHOWN) for field in ("low", "ppm")
    )
    side = {
        "align": alt.expr("datum.left ? 'left' : 'right'"),
        "dx": alt.expr("datum.left ? 6 : -6"),
    }
    return picture(
        "Actual dose with this scale",
        "pink: range of the actual dose; ring and bar: this batch",
        (WIDTH + 330, 340),
        layer("sweep", "area", x=x, y=y, y2="high:Q", colour="cure"),
        layer("sweep", "line", x=x, y=at, colour="cure", strokeWidth=2),
        layer("limits", "limit", y=at),
        layer("limits", "words", x="meat:Q", y="label_at:Q", text="words:N", align="right", dx=0),
        layer("least", "rule", x=x, y=alt.datum(0), y2=alt.datum(40), colour="quiet"),
        layer("least", "words", x=x, y=alt.datum(14), text="words:N", **side),
        layer("here", "rule", x=x, y=y, y2="high:Q", strokeWidth=5, colour="ink", clip=True),
        layer("here", "ring", x=x, y=at),
    )


def scale_data(sweep, here, limits, tolerance_pct: float, system: str) -> dict[str, list[dict]]:
    """Rows for `scale_chart`. `sweep`: arrays meat_kg, ppm, low, high. `here`: (meat_kg, ScaleAnswer). `limits`: (ppm of the meat, words)."""

    def shown(kg):
        return units.to_shown(kg, "kg", system)

    meat_kg, answer = here
    least = min(max(answer.smallest_meat_kg, 1), 100)
    near = len(limits) > 1 and abs(limits[0][0] - limits[1][0]) < 16
    placed = []
    for n, (ppm, words) in enumerate(limits):
        below = (near and n == 0) or "least" in words
        label_at = ppm + (-9 if below else 9)
        placed.append({"ppm": ppm, "label_at": label_at, "meat": float(shown(98)), "words": words})
    batch = (shown(meat_kg), answer.ppm_of_meat, answer.low_ppm_of_meat, answer.high_ppm_of_meat)
    smallest = units.show(answer.smallest_meat_kg, "kg", system, 1)
    return {
        "sweep": columns(**dict(zip(FIELDS, (shown(sweep[0]), *sweep[1:])))),
        "limits": placed,
        "least": [
            {
                "meat": float(shown(least)),
                "left": bool(least < 10),
                "words": f"± {tolerance_pct:g} % from {smallest}",
            }
        ],
        "here": [dict(zip(FIELDS, batch))],
    }
