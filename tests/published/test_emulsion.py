"""The emulsion model against print. Compositions that a paper does not give are assumed (tests/published/data/published_batters/batters.csv says which);
there only the order is a real check. No table is blind: all were seen when the numbers were settled."""

import numpy as np
import pytest
from published_batters import (
    _measured,
    agreement,
    base_batter,
    comparisons,
    directions,
    moved,
    published,
)
from scipy.special import logit
from scipy.stats import pearsonr

from kit import tables
from kit.emulsion.model import water_pull, work_out
from kit.emulsion.parameters import defaults
from kit.emulsion.spread import cloud, spread

BASE = base_batter()
ROWS = {(row.of.key, row.quantity): row for row in comparisons(defaults())}
"""with the model's own numbers, also those that a table helped to set; test_emulsion_evidence.py judges each table without them"""


# definitions and geometry, worked from their formulas by hand; tolerance from the printed digits


def test_surface_of_26_g_fat_in_20_um_drops():
    """6 F / (ρ d) = 6 × 26 / (0.92 × 20) = 8.478 m2, all fat free (geometry)."""
    state = work_out(BASE, defaults().but(intact_cell_share=0.0, film_mg_per_m2=10.0))
    assert state.fat_area_m2 == pytest.approx(8.478, abs=1e-3)
    assert state.film_protein_g == pytest.approx(0.0848, abs=1e-4), (
        "at 10 mg/m2, Tomas et al., J. Dairy Sci. 1994 (a dairy model)"
    )


def test_salt_in_the_water():
    """2.0 g salt on 56 g water: 0.6111 mol/kg (definitions)."""
    state = work_out(BASE, defaults())
    assert state.salt_mol_per_kg_water == pytest.approx(0.6111, abs=1e-3)


def test_melted_share_goes_through_the_two_printed_points():
    """Back fat 17.2 % melted at 10 °C and 73.7 % at 40 °C: Favreau 1981 as quoted in Handbook of Meat Processing 2010, Table 7.2."""
    from kit.emulsion.model import melted_share

    assert 100 * melted_share(BASE.but(core_C=10), defaults()) == pytest.approx(17.2)
    assert 100 * melted_share(BASE.but(core_C=40), defaults()) == pytest.approx(73.7)


# tables


def test_beef_cubes_against_temperature():
    """Honikel, Handbook of Meat Processing 2010, Table 6.1: lean beef without salt, 20 to 100 °C. Strictly rising and nothing at 30 °C and below;
    with one level the mean difference stays within 3 points over a range of 45. The model gives less than 1 at 30 °C, where print, in whole
    per cent, says 0."""
    row = ROWS["N", "cook_loss_pct"]
    assert np.all(np.diff(row.modelled_pct) > 0) and row.spearman > 0.99
    assert np.all(row.modelled_pct[:2] < 1)
    assert row.error_shifted_points <= 3


def test_ground_chicken_salt_by_temperature():
    """Korean J. Food Sci. Anim. Resour. 38(2):417, 2018, Table 8 (set the slopes; SE 0.55): order over 16 cells at least 0.9, the unsalted row
    the worst at every temperature, and with one level within the printed standard error."""
    row = ROWS["D", "cook_yield_pct"]
    assert row.used and row.n == 16 and row.spearman >= 0.9
    assert np.all(
        row.modelled_pct.reshape(4, 4)[:, 1:].max(axis=1) < row.modelled_pct.reshape(4, 4)[:, 0]
    )
    assert row.error_shifted_points <= 0.55


def printed_shift(key, column, reads_as, unsalted, salted):
    """How far salt moves the log-odds of the water's share lost in print; a tenth of the water's weight goes with it as solids."""
    of = published()[key]
    share = _measured(of, column, reads_as) / (1 + defaults().solids_share) / of.stacked.water_pct
    return logit(share[unsalted]) - logit(share[salted]), water_pull(of.stacked, defaults())[
        unsalted
    ] - water_pull(of.stacked, defaults())[salted]


def test_what_salt_does_in_two_laboratories():
    """Table D (Korean J. Food Sci. Anim. Resour. 38(2):417, 2018, Table 8): log-odds 1.34, 1.49 and 1.75 lower at 1, 2 and 3 % salt, mean over four core
    temperatures; the printed SE of 0.55 points makes 0.12 of their mean. Table P (Honikel, Handbook 2010, Table 6.2): 1.68 at 2 %, within 0.15. D set the
    gain, P did not."""
    unsalted = np.repeat(np.arange(0, 16, 4), 3)
    printed, modelled = printed_shift(
        "D", "cook_yield_pct", "left", unsalted, unsalted + np.tile([1, 2, 3], 4)
    )
    assert printed.reshape(4, 3).mean(axis=0) == pytest.approx([1.34, 1.49, 1.75], abs=0.01)
    assert modelled.mean() == pytest.approx(printed.mean(), abs=0.12)
    (pork,), (model,) = printed_shift("P", "loss_pct_of_meat", "lost of meat", [0], [1])
    assert pork == pytest.approx(1.68, abs=0.01) and model == pytest.approx(pork, abs=0.15)


def test_the_film_is_no_thicker_than_published_fat_losses_allow():
    """How thick the protein film on fat globules is, nobody knows well. Where little protein is in solution (tables B, salt down to 0.3 %, and AD, protein down
    to 6 %; sources there) it rules, and print has 0.03 to 1.9 % fat lost: with its default level the model already says 2.0 points more; a film half as thick
    again would say 2.4."""

    def error(film):
        rows = [
            r
            for r in comparisons(defaults().but(film_mg_per_m2=film))
            if (r.of.key, r.quantity) in (("B", "fat_loss_pct"), ("AD", "fat_loss_pct"))
        ]
        return np.average([r.error_points for r in rows], weights=[r.n for r in rows])

    film = tables.value("emulsion_film_mg_per_m2")
    assert error(film) <= 2.05 and error(1.5 * film) > 2.3


def test_lean_replaced_by_what_does_not_bind():
    """Choi et al., Korean J. Food Sci. Anim. Resour. 2017, Table 4: fat separated 1.05 to 1.32 up to 15 points and 14.4 to 18.3 from 20 on; in all 6.0 to 7.9 and
    18.9 to 21.3. The model gets worse all along, too early (at 15 points already), and ends within 4 points of print as it stands."""
    fat, total = ROWS["Y", "fat_separation_pct"], ROWS["Y", "total_expressible_fluid_pct"]
    for row in (fat, total):
        assert (
            np.all(np.diff(row.modelled_pct) > 0)
            and row.error_shifted_points < 0.45 * row.flat_error_points
        )
        assert np.all(np.abs(row.modelled_pct[4:] - row.measured_pct[4:]) < 4)
    assert fat.modelled_pct[2] - fat.modelled_pct[0] < 0.3 * np.ptp(fat.modelled_pct)


def test_goat_sausage_fat_for_water():
    """Lee, Kang and Kim, Food Sci. Anim. Resour. 45(3):794, 2025: order of the water loss exact with water per protein. Cook yield within
    1.34 points and fat within 0.68 with one level (the largest printed standard deviations); water by size is a known miss below. Print: tube total against cook loss, Pearson 0.992."""
    assert ROWS["A", "water_loss_pct"].spearman == pytest.approx(1)
    assert ROWS["A", "fat_loss_pct"].error_shifted_points <= 0.68
    assert ROWS["A", "cook_yield_pct"].error_shifted_points <= 1.34
    goat = published()["A"]
    tube = goat.column("water_loss_pct") + goat.column("fat_loss_pct")
    assert pearsonr(tube, 100 - goat.column("cook_yield_pct")).statistic == pytest.approx(
        0.992, abs=0.005
    )


@pytest.mark.xfail(
    strict=True,
    reason="goat sausage: the tube's water rises fourfold as water per protein goes from 3.7 to 4.9; no other table is that steep",
)
def test_goat_sausage_water_by_size():
    assert ROWS["A", "water_loss_pct"].error_shifted_points <= 1.34


def test_chicken_sausage_salt():
    """Lee, Kim and Kim, J. Anim. Sci. Technol. 62(1):103, 2020 (composition assumed): water and fat lost fall with salt. Print has water lost at 0.3 %
    2.35 times that at 1.2 %; the model is allowed 1.5 to 3.5 since the formulation is not printed."""
    water, fat = ROWS["B", "water_loss_pct"], ROWS["B", "fat_loss_pct"]
    for start in (0, 4):
        assert np.all(np.diff(water.modelled_pct[start : start + 4]) < 0) and np.all(
            np.diff(fat.modelled_pct[start : start + 4]) < 0
        )
    assert water.measured_pct[0] / water.measured_pct[3] == pytest.approx(2.35, abs=0.005)
    assert 1.5 < water.modelled_pct[0] / water.modelled_pct[3] < 3.5
    assert water.spearman > 0.95 and water.error_shifted_points <= 1.0


def test_duck_skin():
    """Kim et al., Korean J. Food Sci. Anim. Resour. 37(3):360, 2017 (composition assumed): all three losses rise with skin. Size is missed: the model
    spreads the treatments four times too wide, even with one level."""
    for quantity in ("cook_loss_pct", "total_expressible_fluid_pct", "fat_separation_pct"):
        assert np.all(np.diff(ROWS["C", quantity].modelled_pct) > 0)
        assert ROWS["C", quantity].spearman > 0.95


@pytest.mark.xfail(
    strict=True,
    reason="duck skin: collagen-rich meat weakens the model's gel far more than the paper saw, or the assumed skin is wrong",
)
def test_duck_skin_by_size():
    assert ROWS["C", "cook_loss_pct"].error_shifted_points <= 1.5


def test_phosphate():
    """Food Technol. Biotechnol. 55(3):390, 2017, Table 3 (set the gain): cook loss by order at least 0.8 and with one level within 1.2 points;
    expressible fluid with one level within 2.2 (its largest printed SD)."""
    assert (
        ROWS["E", "cook_loss_pct"].spearman > 0.8
        and ROWS["E", "cook_loss_pct"].error_shifted_points <= 1.2
    )
    assert ROWS["E", "total_expressible_fluid_pct"].error_shifted_points <= 2.2


@pytest.mark.xfail(
    strict=True,
    reason="phosphate by expressible fluid: print itself goes down and up, pH moving with phosphate; the model only falls",
)
def test_phosphate_by_order_of_the_fluid():
    assert ROWS["E", "total_expressible_fluid_pct"].spearman > 0.8


def test_nonmeat_protein_in_a_failing_batter():
    """J. Anim. Sci. Technol. 63(1):170, 2021, Table 2 (composition assumed, batter pH printed): 2 % of each protein loses less than none in print. In
    the model too if pH stays; a paper of 2025 with the same numbers calls that level 1.5 %, which changes no sign."""
    of, row = published()["F"], ROWS["F", "total_loss_pct"]
    at_one_pH = work_out(of.stacked.but(pH=of.batters[0].pH), defaults()).total_out_g
    assert np.all(at_one_pH[[3, 6, 9]] < at_one_pH[0]) and np.all(
        row.measured_pct[[3, 6, 9]] < row.measured_pct[0]
    )


@pytest.mark.xfail(
    strict=True,
    reason="non-meat protein with the printed pH: pH falls from 6.65 to 6.2 and the loss falls with it; in the model a lower pH loses more",
)
def test_nonmeat_protein_with_the_printed_pH():
    row = ROWS["F", "total_loss_pct"]
    assert (
        np.all(row.modelled_pct[[3, 6, 9]] < row.modelled_pct[0])
        and row.error_shifted_points <= 2.0
    )


@pytest.mark.xfail(
    strict=True,
    reason="a failing batter that loses 25 %: with its default level the model says less than half",
)
def test_nonmeat_protein_by_size_without_a_level():
    assert ROWS["F", "total_loss_pct"].error_points <= 5


def test_binders_at_one_percent():
    """Food Sci. Anim. Resour. 44(5):1069, 2024, Tables 1 and 2: eight yields between 92.6 and 93.6 with SD up to 0.69; with one level within it."""
    row = ROWS["G", "cook_yield_pct"]
    assert row.error_shifted_points <= 0.69 and row.of.composition == "worked back"


def test_gelatin():
    """Food Sci. Anim. Resour. 40(6):1033, 2020, Tables 2 and 3: with one level within 0.25, half the distance between the control and the gelatins
    (p = 0.081 in print). The printed analyses do not show the gram of gelatin, so the sign is asked of the formulation (gelatin_added below)."""
    assert (
        ROWS["M", "cook_loss_pct"].error_shifted_points <= 0.25
        and ROWS["M", "cook_loss_pct"].of.composition == "worked back"
    )


def test_pork_mixes():
    """Honikel, Handbook 2010, Table 6.2 by its text: salt saves water, with and without added water. Size is missed: see below."""
    row = ROWS["P", "loss_pct_of_meat"]
    minced, salted, watered, both, _ = row.modelled_pct
    assert salted < minced and both < watered


@pytest.mark.xfail(
    strict=True,
    reason="print: the share of water lost stays about 33 % when the unsalted mix is watered; the model lets it rise",
)
def test_watering_leaves_the_share_lost_unchanged():
    of = published()["P"]
    shares = [
        100 * float(work_out(b, defaults()).water_out_g) / b.water_pct
        for b in (of.batters[0], of.batters[2])
    ]
    assert shares[1] - shares[0] < 3


def test_patties_mass_balance():
    """Korean J. Food Sci. Anim. Resour. 36(4):538, 2016: fat and protein retention worked from the printed composition and loss, checked against a hand
    calculation to 0.1. The printed fat retention does not follow from them, and protein retention passes 100: the table is at odds with itself."""
    of = published()["K"]

    def retention_pct(raw_pct, cooked_pct, loss_pct):
        """Share of a component still there after the cook, from its share before and after and the weight lost."""
        return 100 * cooked_pct * (1 - loss_pct / 100) / raw_pct

    fat = retention_pct(
        of.column("raw_fat_pct"), of.column("cooked_fat_pct"), of.column("cook_loss_pct")
    )
    protein = retention_pct(
        of.column("raw_protein_pct"), of.column("cooked_protein_pct"), of.column("cook_loss_pct")
    )
    assert fat == pytest.approx([83.3, 69.7, 55.0, 48.0], abs=0.1) and protein == pytest.approx(
        [96.9, 103.0, 102.2, 107.1], abs=0.1
    )
    assert (
        np.all(np.abs(fat - of.column("printed_fat_retention_pct")) > 1.5)
        and np.sum(protein > 100) == 3
    )
    assert of.column("drip_pct") + of.column("evaporation_pct") == pytest.approx(
        of.column("cook_loss_pct"), abs=0.015
    ), "drip and evaporation, 2 digits"


def test_patties_drip_rises_with_fat():
    """Same table: drip rises with fat in print and in the model, although a patty is no emulsion."""
    assert np.all(np.diff(ROWS["K", "drip_pct"].modelled_pct) > 0) and np.all(
        np.diff(ROWS["K", "drip_pct"].measured_pct) > 0
    )


def test_level_of_a_sound_frankfurter():
    """Stilwell et al., J. Food Sci. 1978, abstract: 5.69 and 6.35 ml/100 g in all. The middle 80 % of the cloud holds both."""
    low, _, high = spread(BASE, cloud(np.random.default_rng(1), 4000), 4000).total_out_g
    assert low < 5.69 and high > 6.35


@pytest.mark.parametrize("kind, best", [("poultry", 13), ("pork back", 13), ("beef", 18)])
def test_turkey_frankfurters_best_end(kind, best):
    """Poultry Sci., turkey frankfurters with 18 % fat chopped to 13, 18 or 23 °C: turkey fat 13, pork fat 13, beef fat 18 most stable. Exact."""
    ends = np.array([13.0, 18.0, 23.0])
    left = work_out(
        BASE.but(water_pct=62, protein_pct=14, fat_pct=18, fat_kind=kind, end_C=ends), defaults()
    ).total_out_g
    assert ends[np.argmin(left)] == best


def test_salt_below_one_and_a_half_matters_more():
    """Puolanne and Terrell, J. Food Sci. 1983, abstract: 2.0 to 1.5 % no change in water binding, 1.5 to 1.0 % a loss."""
    water = work_out(BASE.but(salt_pct=np.array([2.0, 1.5, 1.0])), defaults()).water_out_g
    assert 0 < water[1] - water[0] < water[2] - water[1]


@pytest.mark.parametrize(
    "claim",
    [
        pytest.param(
            d,
            id=d.key,
            marks=pytest.mark.xfail(strict=True, reason=d.known_missed) if d.known_missed else (),
        )
        for d in directions()
    ],
)
def test_direction_in_print(claim):
    """Claims of abstracts and tables (tests/published/data/published_batters/directions.csv names each source): the model goes the same way."""
    assert claim.reproduced, f"{claim.claim} ({claim.citation})"


# honesty of the page itself


def test_used_and_unused_tables_are_told_apart():
    page = agreement()
    used, unused, others = page.pooled
    assert {r.of.key for r in page.rows if r.used} == {"A", "D", "E"}
    assert used.values + unused.values + others.values == sum(row.n for row in page.rows)
    assert len(page.rows) == 40
    assert unused.spearman_median > 0.9, "order is what the model is for"
    assert unused.error_shifted_points < unused.flat_error_points, (
        "if this turns, the page must say again that one number does better by size"
    )
    assert others.error_shifted_points < 0.5 * others.flat_error_points
    assert {m.parameter for m in moved()} >= {
        p for t in published().values() for p in t.helped_to_set
    }
    assert {table for m in moved() for table in m.after_seeing} <= set(published())


def test_batters_as_printed():
    """Where a composition is printed, the batter given to the model carries those figures and does not list them as assumed."""
    goat = published()["A"]
    assert not {"water_pct", "protein_pct", "fat_pct", "pH"} & set(goat.assumed)
    for name in ("water_pct", "protein_pct", "fat_pct", "pH"):
        assert [getattr(b, name) for b in goat.batters] == pytest.approx(goat.column(name))
    for key in ("F", "M", "Q"):
        assert [b.pH for b in published()[key].batters] == pytest.approx(
            published()[key].column("pH")
        ) and "pH" not in published()[key].assumed
    oil = published()["AC"]
    assert [b.fat_kind["oil"] for b in oil.batters] == pytest.approx(
        [0, 0.225, 0.319, 0.416] + 2 * [0.225, 0.319, 0.416]
    ), "each row its own fats"
    assert oil.stacked.fat_kind["oil"][3] == pytest.approx(0.416)
    patties = published()["K"]
    assert [b.fat_pct for b in patties.batters] == pytest.approx(patties.column("raw_fat_pct"))
    assert all(t.labels and len(t.labels) == len(t.batters) for t in published().values())
