"""One probe against many links: what must the display read so that the coldest link is there?"""

from dataclasses import replace
from functools import lru_cache

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, schedule_of
from kit.cook import OneProbe, Stage, charcoal, one_probe
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START, demo_sheet
from kit.lab.panels.cook.pieces import INVENTED
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.lethality import cautions
from kit.sheet import Sheet
from kit.tables import value

POOL, BATCHES = 200, 600
HOUSE, CHARCOAL = "the planned house", "a covered charcoal cooker"


def charcoal_cook() -> Stage:
    """A covered charcoal cooker with a pan of water: dry, half-wet skins, uneven from place to place and unsteady in time."""
    s = START
    return charcoal(
        s["charcoal_min"],
        s["charcoal_C"],
        humidity_pct=s["charcoal_rh"],
        wetness=s["charcoal_wet_pct"] / 100,
    )


def probe_panel(sheet: Sheet | None = None) -> Panel:
    """A cloud of links in the sheet's house; the probe sits in one, off its axis, on a display with an error. The same cloud for every move."""
    sheet = sheet or demo_sheet()
    base = link_of(sheet)
    stages = tuple(stage for stage in schedule_of(sheet) if stage.vapour_Pa is not None)

    @lru_cache(maxsize=16)
    def answer(
        cooker,
        diameter,
        target,
        links,
        confidence,
        spread,
        diameter_sd,
        start_sd,
        depth_sd,
        display_sd,
        longer,
    ) -> OneProbe:
        placed = (
            [replace(stage, spread_K=spread) for stage in stages]
            if cooker == HOUSE
            else [charcoal_cook()]
        )
        placed[-1] = placed[-1].lasting(max(placed[-1].minutes + longer, 1.0))
        return one_probe(
            replace(base, diameter_mm=diameter, length_mm=None),
            placed,
            target,
            links=int(links),
            confidence_pct=confidence,
            diameter_sd_mm=diameter_sd,
            start_sd_K=start_sd,
            depth_sd_mm=depth_sd,
            display_sd_K=display_sd,
            pool=POOL,
            batches=BATCHES,
        )

    def compute(values) -> OneProbe:
        return answer(
            *(
                values[key]
                for key in (
                    "cooker",
                    "diameter_mm",
                    "target_C",
                    "links",
                    "confidence_pct",
                    "spread_K",
                    "diameter_sd_mm",
                    "start_sd_K",
                    "depth_sd_mm",
                    "display_sd_K",
                    "longer_min",
                )
            )
        )

    controls = (
        Slider("diameter_mm", "Stuffed diameter", "mm", 16, 60, 0.5, START["diameter_mm"], "Link"),
        Slider(
            "diameter_sd_mm",
            "Diameters scatter by ±",
            "mm",
            0,
            3,
            0.1,
            value("cook_diameter_sd"),
            "Link",
        ),
        Slider("start_sd_K", "Starts scatter by ±", "K", 0, 6, 0.5, value("cook_start_sd"), "Link"),
        Choice("cooker", "Cooked in", (HOUSE, CHARCOAL), HOUSE, "Process"),
        Slider("longer_min", "Last stage longer by, minutes", "", -22, 40, 1, 0, "Process"),
        Slider(
            "spread_K",
            "House: places differ by ±",
            "K",
            0,
            8,
            0.5,
            value("cook_house_spread"),
            "Process",
        ),
        Slider(
            "depth_sd_mm",
            "Probe misses the axis by ±",
            "mm",
            0,
            6,
            0.5,
            value("cook_depth_sd"),
            "Process",
        ),
        Slider(
            "display_sd_K", "Display errs by ±", "K", 0, 2, 0.1, value("cook_display_sd"), "Process"
        ),
        Slider("links", "Links in the house", "", 2, 2000, 1, 200, "Process"),
        Slider(
            "target_C",
            "Coldest core to reach",
            "°C",
            60,
            76,
            0.5,
            START["target_C"],
            "Limits of your own",
        ),
        Slider(
            "confidence_pct", "In how many of 100 batches", "", 50, 99, 1, 95, "Limits of your own"
        ),
    )
    return Panel(
        "One probe, many links",
        controls,
        compute,
        probe_view,
        lambda system: {
            "probe": charts.probe_chart(system),
            "coldest": charts.coldest_chart(system),
        },
        {
            "Links of many sizes": {"diameter_sd_mm": 2},
            "Probe hastily stuck in": {"depth_sd_mm": 5},
            "Too short a cook": {"longer_min": -19},
            "In a covered charcoal cooker": {"cooker": CHARCOAL},
        },
    )


def probe_view(found: OneProbe, values, system) -> View:
    def t(x):
        return units.show(x, "°C", system)

    fire = charcoal_cook() if values["cooker"] == CHARCOAL else None
    aim, sees = t(found.target_C), found.passes_at_target_pct == found.passes_at_target_pct
    if found.display_C is None:
        sentence = f"No reading will do: some links never come to {aim} in this plan ({found.never_pct:.1f} % of them). Lengthen the last stage, even out the house, or probe the coldest place."
    else:
        sentence = f"Wait for {t(found.display_C)} on the display: then the coldest of {found.links} links is at {aim} in {found.confidence_pct:g} of 100 batches, as reckoned."
    if sees:
        sentence += f" When it first shows {aim}, the coldest is there in {found.passes_at_target_pct:.0f} of 100."
    low, middle, high = found.coldest_at_target_C
    rows = (
        Row(
            (
                "display to wait for",
                "none will do" if found.display_C is None else t(found.display_C),
                ""
                if found.display_C is None
                else f"{units.show(found.margin_K, 'K', system)} beyond the target",
            ),
            "fails" if found.display_C is None else "strong",
        ),
        Row(
            (
                f"coldest core when the display first shows {aim}",
                t(middle) if sees else "it never does",
                f"{t(low)} to {t(high)}, nine batches in ten" if sees else "",
            )
        ),
        Row(
            (
                f"{'✗ ' if sees and found.passes_at_target_pct < found.confidence_pct else ''}batches with every link there at that moment",
                f"{found.passes_at_target_pct:.0f} of 100" if sees else "not known",
                f"you ask for {found.confidence_pct:g}",
            ),
            "fails" if sees and found.passes_at_target_pct < found.confidence_pct else "",
        ),
        Row(("links that never get there", f"{found.never_pct:.1f} %", "")),
        *(
            (
                Row(
                    (
                        "air of the cooker",
                        units.show(fire.medium_C, "°C", system),
                        _noise(fire, system),
                    )
                ),
            )
            if fire
            else ()
        ),
    )
    line, spread = charts.probe_data(found, system)
    note = (
        f"{POOL} links and {BATCHES} batches are drawn; another draw moves the reading by about ± {units.show(found.display_sd_C, 'K', system)}. Put in scatter that you measured."
        if found.display_C is not None
        else "Put in scatter that you measured."
    )
    return View(
        sentence,
        {"probe": line, "coldest": spread},
        {
            "probe": f"Share of batches with every link there, against the display. {found.words}",
            "coldest": f"Coldest core when the display first shows {found.target_C:g} °C: {low:.1f} to {high:.1f} °C.",
        },
        (Table("One probe", ("what", "value", "beside it"), rows),),
        (*found.notes, note, *((_fire_words(fire, system),) if fire else ()), INVENTED),
        found.working,
        found.sources,
        (cautions.ONE_PROBE, PLAN_ONLY, HOT),
    )


def _noise(fire: Stage, system: str) -> str:
    return f"places ± {units.show(fire.spread_K, 'K', system, 0)}, in time ± {units.show(fire.wander_K, 'K', system, 0)}"


def _fire_words(fire: Stage, system: str) -> str:
    return (
        f"The charcoal cooker is invented: {fire.minutes:g} min at {units.show(fire.medium_C, '°C', system)} and {fire.humidity_pct:.0f} % humidity over a pan of water, "
        f"{100 * fire.wetness:.0f} % of the skin wet; {_noise(fire, system)} (teaching assumptions). Put in what your own probes show."
    )
