"""The section through the batter: areas as the model says, globules that stay where they are, and words that agree."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest

from kit.emulsion import Batter
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults
from kit.lab.charts import section as charts
from kit.lab.charts.emulsion import LIMIT_WORDS
from kit.lab.panels.controls import Slider
from kit.lab.panels.emulsion import margins_panel
from kit.lab.panels.emulsion.batch import BREAKS
from kit.lab.panels.start import batch_panel
from kit.properties.makeup import makeup_from_pct
from kit.properties.mixture import density_kg_per_m3

BATTER = Batter(water_pct=58.0, protein_pct=12.0, fat_pct=25.0, salt_pct=2.0)


def section_of(batter: Batter) -> charts.BatterSection:
    return charts.section_of(batter, work_out(batter, defaults()), defaults())


def discs_area(rows) -> float:
    """Area of the round marks of fat, whose size is the square of the diameter."""
    return sum(math.pi / 4 * row["size"] for row in fat_of(rows))


def of_kind(rows, *letters) -> dict[str, dict]:
    """The marks of these kinds by name, without those of the legend."""
    return {row["id"]: row for row in rows["things"] if row.get("id", " ")[0] in letters}


def fat_of(rows) -> list[dict]:
    return list(of_kind(rows, "g", "c").values())


def run_area(rows) -> float:
    """Area along the line where fat has run together: width times length, pool by pool."""
    area = 0.0
    for pool in {row["of"] for row in rows if row["of"] != "key"}:
        mine = [row for row in rows if row["of"] == pool]
        for a, b in pairwise(mine):
            length = math.hypot(a["x"] - b["x"], a["y"] - b["y"])
            area += length * (a["wide"] + b["wide"]) / 2
    return area


@pytest.fixture(scope="module")
def panel():
    return margins_panel()


def drawn_by(panel):
    return panel.picture.payload["data"]["section"]


WHOLE = charts.TALL * charts.WIDTH**2


@pytest.mark.parametrize("fat_pct", [4, 12, 25, 38, 45])
@pytest.mark.parametrize("drop_um", [3, 8, 20, 60])
def test_raw_fat_has_the_area_of_its_volume(fat_pct, drop_um):
    """Volume of fat from the densities of the components of Choi and Okos (kit.properties), which the drawing takes only for what is not fat; 3 % is what the two densities of fat differ by."""
    rest = (100 - fat_pct) / 100
    batter = Batter(
        water_pct=80 * rest,
        protein_pct=15 * rest,
        fat_pct=fat_pct,
        salt_pct=2 * rest,
        drop_um=drop_um,
    )
    parts = {
        "water": 80 * rest,
        "protein": 15 * rest,
        "fat": fat_pct,
        "ash": 2 * rest,
        "carbohydrate": 3 * rest,
    }
    fat, whole = (
        density_kg_per_m3(makeup_from_pct(**one), 20.0) for one in ({"fat": 100.0}, parts)
    )
    volume = fat_pct / 100 * float(whole) / float(fat)
    rows = charts.section_data(section_of(batter), heated=False)
    assert discs_area(rows) / WHOLE == pytest.approx(volume, rel=0.03)
    assert run_area(rows["run"]) == 0 and not of_kind(rows, "j")


@pytest.mark.parametrize("name", ["", *BREAKS])
def test_heated_fat_is_the_raw_fat_and_the_released_share_has_run_together(panel, name):
    panel.reset() if not name else panel.press(name)
    held, rows = panel.result.held, drawn_by(panel)
    whole = charts.section_of(held.batter, held, held.parameters).fat_area * WHOLE
    kept, run = discs_area(rows), run_area(rows["run"])
    share = held.fat_out_g / held.batter.fat_pct
    assert kept == pytest.approx((1 - share) * whole, rel=0.001)
    assert run == pytest.approx(share * whole, rel=0.12, abs=0.004 * whole)  # a line of 64 pieces


def test_globules_keep_their_place_under_every_slider(panel):
    """Each step of each slider: what is there stays where it is and changes a little; new globules come at the end."""
    panel.reset()
    start = panel.values
    for key, held in panel.controls.items():
        if not isinstance(held.spec, Slider):
            continue
        before = {}
        for value in np.linspace(held.spec.low, held.spec.high, 13):
            rows = drawn_by(panel.set(**{**start, key: float(value)}))
            assert panel.error is None and sum(map(len, rows.values())) <= 420, (key, value)
            now = of_kind(rows, "g", "c", "j", "f")
            assert all(
                (row["x"], row["y"]) == (now[name]["x"], now[name]["y"])
                for name, row in before.items()
                if name in now
            )
            before = now
    panel.reset()


def test_a_small_move_is_a_small_change(panel):
    """A change by a thousandth changes all areas together by less than a fifth of one globule."""
    section = section_of(BATTER)
    usual = (2 * charts.WIDTH * charts.USUAL_RADIUS) ** 2
    for change in ({"fat_pct": 25.02}, {"drop_um": 20.02}, {"end_C": 13.02}, {"salt_pct": 2.002}):
        other = section_of(BATTER.but(**change))
        one, two = (
            {row["id"]: row["size"] for row in fat_of(charts.section_data(each, True))}
            for each in (section, other)
        )
        moved = sum(abs(one.get(name, 0.0) - two.get(name, 0.0)) for name in {*one, *two})
        assert moved < 0.2 * usual, change


def test_more_and_finer_fat_adds_globules_at_the_end():
    counts = [len(charts.globules(section_of(BATTER.but(drop_um=um)))[0]) for um in (60, 20, 8, 3)]
    assert counts == sorted(counts) and counts[-1] > 8 * counts[0]
    few, many = (
        fat_of(charts.section_data(section_of(BATTER.but(fat_pct=fat)), False)) for fat in (15, 27)
    )
    assert [row["id"] for row in few] == [row["id"] for row in many][: len(few)]


def test_no_globule_covers_another_in_an_ordinary_batter():
    rows = fat_of(charts.section_data(section_of(BATTER), False))
    for n, a in enumerate(rows):
        for b in rows[n + 1 :]:
            apart = math.hypot(a["x"] - b["x"], a["y"] - b["y"])
            assert apart > 0.9 * (math.sqrt(a["size"]) + math.sqrt(b["size"])) / 2


def test_the_film_is_there_for_as_many_globules_as_there_is_protein_for():
    """Half the protein that the surface asks for covers half of the globules, none covers none, and enough covers all."""
    p = defaults()
    for short in (0.0, 0.25, 0.5, 1.0, 4.0):
        state = work_out(BATTER, p)
        batter = BATTER.but(drop_um=3.0)
        asks = float(work_out(batter, p).film_protein_g)
        thick = p.but(
            film_mg_per_m2=p.film_mg_per_m2
            * float(state.dissolved_protein_g)
            / asks
            / max(short, 1e-4)
        )
        section = charts.section_of(batter, work_out(batter, thick), thick)
        films, count = charts.films_of(section)
        assert films / count == pytest.approx(min(short, 1.0), abs=0.03)
        marks = of_kind(charts.section_data(section, False), "g").values()
        assert sum(row["look"] == "film" for row in marks) == films and len(marks) == count


def test_each_break_shows_its_own_sign(panel):
    plain = panel.reset().result
    seen = {}
    for name in BREAKS:
        held = panel.press(name).result.held
        seen[name] = charts.section_of(held.batter, held, held.parameters)
        rows = drawn_by(panel)
        assert bool(of_kind(rows, "j")) is (held.water_margin < 0)
    assert seen["No salt"].jelly_area > 0.02
    least = plain.held.fat_out_g / plain.batter.fat_pct
    assert min(seen["Chopped too warm"].run_together, seen["Too fat"].run_together) > 5 * least
    assert seen["Chopped too warm"].run_together_raw > 0 == seen["Too fat"].run_together_raw
    assert seen["Too much collagen"].collagen_g > 1.5 * seen["No salt"].collagen_g


@pytest.mark.parametrize("end_C, raw", [(2, False), (13, False), (18, True), (30, True)])
def test_fat_runs_together_raw_only_where_it_is_chopped_too_warm(end_C, raw):
    section = section_of(BATTER.but(end_C=end_C))
    assert (section.run_together_raw > 0) is raw
    assert section.run_together_raw <= section.run_together


def test_the_jelly_is_what_leaves_beyond_the_limit(panel):
    held = panel.press("No salt").result.held
    p, b = held.parameters, held.batter
    rows = of_kind(drawn_by(panel), "j").values()
    area = sum(row["size"] / 4 * charts.POCKET_AREA for row in rows) / WHOLE
    beyond = held.water_out_g - p.water_edge_share * b.water_pct
    assert area == pytest.approx((1 + p.solids_share) * beyond / 100, rel=0.001)


def test_the_outline_of_a_pocket_has_the_area_that_is_said():
    """Its area by the shoelace formula on points of its curves."""
    numbers = [float(x) for x in re.findall(r"-?\d+\.?\d*", charts.POCKET)]
    start, first, rest = numbers[:2], numbers[2:8], numbers[8:]
    pieces = [(start, first[:2], first[2:4], first[4:])]
    for n in range(0, len(rest), 4):
        before = pieces[-1]
        mirrored = [2 * before[3][k] - before[2][k] for k in (0, 1)]
        pieces.append((before[3], mirrored, rest[n : n + 2], rest[n + 2 : n + 4]))
    t = np.linspace(0, 1, 50)[:, None]
    points = np.vstack(
        [
            (1 - t) ** 3 * np.array(a)
            + 3 * t * (1 - t) ** 2 * np.array(b)
            + 3 * t**2 * (1 - t) * np.array(c)
            + t**3 * np.array(d)
            for a, b, c, d in pieces
        ]
    )
    x, y = points.T
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    assert area == pytest.approx(charts.POCKET_AREA, rel=0.02)


@pytest.mark.parametrize("name", ["", *BREAKS])
def test_the_words_name_the_first_limit_and_what_is_drawn(panel, name):
    panel.reset() if not name else panel.press(name)
    said, held = panel.picture.payload["text"]["section"], panel.result.held
    assert said.startswith("Schematic of the teaching model, not to scale")
    assert said.endswith(f"First limit: {LIMIT_WORDS[held.fails_first]}.")
    assert f"{100 * held.fat_out_g / held.batter.fat_pct:.0f} % of the fat has merged" in said
    assert ("There is no jelly pocket" in said) is (held.water_margin >= 0)


def test_the_first_page_draws_the_batter_that_its_table_speaks_of():
    panel = batch_panel()
    held = panel.result.emulsion.held
    shown = charts.section_of(held.batter, held, held.parameters)
    rows = charts.section_data(shown)["things"]
    assert [row["size"] for row in drawn_by(panel)["things"]] == pytest.approx(
        [row["size"] for row in rows], rel=1e-5
    )
    assert LIMIT_WORDS[held.fails_first] in panel.picture.payload["text"]["section"]
    assert f"Fat takes {100 * shown.fat_area:.0f} %" in panel.picture.payload["text"]["section"]
