"""Calibration by a few tubes: recovers what was planted, stays humble with one row, survives a file."""

import numpy as np
import pytest
from pencil import assert_pencil
from published_batters import base_batter

from kit import tables
from kit.emulsion import calibrate, hold
from kit.emulsion.calibrate import LEVELS, MeasuredLoss, _fit, from_cook, from_tube
from kit.emulsion.model import work_out
from kit.emulsion.parameters import defaults, drawn, spread_of
from kit.emulsion.saved import from_toml, save_calibration
from kit.emulsion.spread import cloud, spread
from kit.errors import Faulty, KitError, OutOfRange

BASE = base_batter()
CLASS = [
    BASE,
    BASE.but(end_C=20),
    BASE.but(salt_pct=1.0),
    BASE.but(core_C=80),
    BASE.but(water_pct=60, fat_pct=22),
    BASE.but(fat_kind="beef", end_C=15),
]


def planted(water_level, fat_level, batters=CLASS, rng=None, sd=(0.0, 0.0)):
    p, rows = defaults().but(water_level=water_level, fat_level=fat_level), []
    for batter in batters:
        state, noise = work_out(batter, p), rng.standard_normal(2) * sd if rng else (0, 0)
        rows.append(
            MeasuredLoss(
                batter,
                water_out_g=float(np.clip(state.water_out_g + noise[0], 0, batter.water_pct)),
                fat_out_g=float(np.clip(state.fat_out_g + noise[1], 0, batter.fat_pct)),
            )
        )
    return rows


def test_levels_are_found_again():
    found = calibrate(planted(-0.8, 0.7))
    assert found.water_level == pytest.approx(-0.8, abs=0.06) and found.fat_level == pytest.approx(
        0.7, abs=0.12
    )
    assert (
        found.water_level_90[0] < -0.8 < found.water_level_90[1]
        and found.fat_level_90[0] < 0.7 < found.fat_level_90[1]
    )
    assert found.error_after_g < 0.3 * found.error_before_g
    assert_pencil(found.working)


def grid_posterior(rows):
    """Independent: the posterior on a dense grid, through the whole model, with the same prior and scatter."""
    water, fat = np.linspace(-4, 2.5, 401), np.linspace(-6, 5, 401)
    minus_log = np.zeros((401, 401))
    for level, values, axis in ((LEVELS[0], water, 0), (LEVELS[1], fat, 1)):
        z = (values - tables.value(f"emulsion_{level}")) / spread_of(f"emulsion_{level}")
        minus_log += np.expand_dims(z**2 / 2, 1 - axis)
    p = defaults().but(water_level=water[:, None], fat_level=fat[None, :])
    scatter = {
        "water_out_g": ("water", "water"),
        "fat_out_g": ("fat", "fat"),
        "total_out_g": ("total", "water"),
    }
    for row in rows:
        state = work_out(row.batter, p)
        for name in row.used:
            test, misfit = scatter[name]
            sd = np.hypot(
                tables.value(f"emulsion_test_sd_{test}_g"),
                tables.value(f"emulsion_misfit_{misfit}_g"),
            )
            minus_log = minus_log + ((getattr(state, name) - getattr(row, name)) / sd) ** 2 / 2
    weight = np.exp(minus_log.min() - minus_log)
    weight /= weight.sum()
    best = np.unravel_index(np.argmin(minus_log), minus_log.shape)
    means = (weight.sum(axis=1) @ water, weight.sum(axis=0) @ fat)
    sds = (
        np.sqrt(weight.sum(axis=1) @ (water - means[0]) ** 2),
        np.sqrt(weight.sum(axis=0) @ (fat - means[1]) ** 2),
    )
    return (water[best[0]], fat[best[1]]), sds


@pytest.mark.parametrize(
    "rows, off",
    [
        (planted(-0.8, 0.7)[:1], 0.4),
        (planted(-0.8, 0.7)[:3], 0.25),
        (planted(-1.8, -0.5), 0.25),
        ([MeasuredLoss(BASE, total_out_g=9.0)], 0.4),
    ],
    ids=["one row", "three rows", "six rows", "one total"],
)
def test_mode_and_width_against_a_dense_grid(rows, off):
    """One row, or totals alone, leave a lopsided or bent shape, which a normal one is up to two fifths too narrow for; notes say so."""
    mode, sds = grid_posterior(rows)
    found = calibrate(rows)
    assert (found.water_level, found.fat_level) == pytest.approx(mode, abs=0.04), (
        "the grid's own step is 0.03"
    )
    widths = [
        (high - low) / (2 * 1.645) for low, high in (found.water_level_90, found.fat_level_90)
    ]
    assert widths == pytest.approx(sds, rel=off), (
        "the normal shape of the uncertainty is an approximation"
    )
    assert any("cannot tell water from fat" in note for note in found.notes) == (
        rows[0].used == ("total_out_g",)
    )


def test_interval_covers_the_planted_levels_about_nine_times_in_ten():
    rng, inside = np.random.default_rng(11), np.zeros(2)
    sd = [
        np.hypot(tables.value(f"emulsion_test_sd_{w}_g"), tables.value(f"emulsion_misfit_{w}_g"))
        for w in ("water", "fat")
    ]
    for _ in range(150):
        truth = [
            rng.triangular(
                *(
                    getattr(tables.number(f"emulsion_{level}"), part)
                    for part in ("low", "value", "high")
                )
            )
            for level in LEVELS
        ]
        found = calibrate(planted(*truth, batters=CLASS[:2], rng=rng, sd=sd))
        inside += [
            low <= t <= high
            for t, (low, high) in zip(truth, (found.water_level_90, found.fat_level_90))
        ]
    assert np.all(inside / 150 > 0.82), inside / 150


def test_one_row_says_little_and_says_so():
    one, six = calibrate(planted(-0.8, 0.7)[:1]), calibrate(planted(-0.8, 0.7))
    assert one.told_pct[0] < six.told_pct[0] and one.told_pct[1] < six.told_pct[1]
    assert any("only 1 measured row" in note for note in one.notes)
    water_only = calibrate([MeasuredLoss(BASE, water_out_g=5.0)])
    assert water_only.fat_level == pytest.approx(tables.value("emulsion_fat_level"), abs=1e-6)
    assert water_only.told_pct[1] == pytest.approx(0, abs=1e-6)
    assert any("almost nothing about the fat level" in note for note in water_only.notes)


def test_rows_that_contradict_each_other_widen_the_interval_and_are_named():
    agree = calibrate([MeasuredLoss(BASE, water_out_g=w) for w in (5.0, 5.0, 5.0, 5.0)])
    quarrel = calibrate([MeasuredLoss(BASE, water_out_g=w) for w in (0.5, 14.0, 0.5, 14.0)])
    width = [c.water_level_90[1] - c.water_level_90[0] for c in (agree, quarrel)]
    assert width[1] > 1.5 * width[0]
    assert any("two levels cannot explain" in note for note in quarrel.notes)


def test_it_is_used_everywhere_and_shown_before_and_after():
    found = calibrate(planted(-0.8, 0.7))
    held = hold(BASE, calibration=found)
    assert (
        held.parameters.water_level == found.water_level
        and held.total_out_g > hold(BASE).total_out_g
    )
    assert [f.after_g for f in found.fitted if f.label == "row 1"] == pytest.approx(
        [held.water_out_g, held.fat_out_g]
    )
    assert [f.before_g for f in found.fitted if f.label == "row 1"] == pytest.approx(
        [hold(BASE).water_out_g, hold(BASE).fat_out_g]
    )
    assert len(found.fitted) == 12


def test_the_cloud_narrows_at_the_measured_batters_and_opens_away():
    found = calibrate(planted(-1.4, 0.0))
    width = {}
    for name, batter in (
        ("measured", BASE),
        (
            "far",
            BASE.but(
                water_pct=70, fat_pct=6, protein_pct=9, collagen_pct_of_protein=30, phosphate_pct=0
            ),
        ),
    ):
        for which, c in (("before", None), ("after", found)):
            low, _, high = spread(
                batter, cloud(np.random.default_rng(4), calibration=c)
            ).total_out_g
            width[name, which] = np.log(high / low)
    assert width["measured", "after"] < 0.65 * width["measured", "before"]
    assert width["far", "after"] > 1.2 * width["measured", "after"]
    many = spread(
        BASE.but(end_C=np.array([13.0, 18.0])),
        cloud(np.random.default_rng(4), calibration=found, ndim=1),
    )
    assert many.total_out_g.shape == (3, 2)


def test_each_draw_is_fitted_like_a_single_fit():
    rows, p = planted(-0.8, 0.7)[:3], drawn(6, np.random.default_rng(9))
    levels, covariance = _fit(rows, p, 6)
    for n in range(6):
        alone = {
            name: (np.ravel(v)[n] if np.ndim(v) else v)
            for name, v in vars(p).items()
            if name != "fats"
        }
        fats = {
            k: type(f)(*(np.ravel(v)[n] if np.ndim(v) else v for v in vars(f).values()))
            for k, f in p.fats.items()
        }
        one, one_covariance = _fit(rows, defaults().but(**alone, fats=fats), 1)
        assert levels[n] == pytest.approx(one[0], abs=1e-3) and covariance[n] == pytest.approx(
            one_covariance[0], rel=1e-2, abs=1e-6
        )


def test_file_round_trip_and_refusals(tmp_path):
    rows = [
        *planted(-0.8, 0.7)[:2],
        MeasuredLoss(
            BASE.but(fat_kind={"beef": 1, "oil": 3}), total_out_g=7.5, label='tube "A" \\ 3\n'
        ),
    ]
    found, path = calibrate(rows, "class of autumn"), tmp_path / "levels.toml"
    save_calibration(found, path)
    again = from_toml(path.read_bytes(), path.name)
    assert again == found
    with pytest.raises(KitError, match="left as it is"):
        save_calibration(found, path)
    save_calibration(found, path, overwrite=True)
    assert [p.name for p in tmp_path.iterdir()] == ["levels.toml"], "no temporary file may stay"


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    found, path = calibrate(planted(-0.8, 0.7)[:1]), tmp_path / "levels.toml"
    save_calibration(found, path)
    before = path.read_bytes()
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(KitError, match="disk full"):
        save_calibration(found, path, overwrite=True)
    assert path.read_bytes() == before and len(list(tmp_path.iterdir())) == 1


def test_a_moved_level_is_noted(tmp_path):
    path = save_calibration(calibrate(planted(-0.8, 0.7)), tmp_path / "levels.toml")
    text = path.read_text(encoding="utf-8")
    stored = next(line for line in text.splitlines() if line.startswith("water_level ="))
    path.write_text(text.replace(stored, "water_level = -2.0"), encoding="utf-8")
    assert any(
        "was -2 when saved" in note for note in from_toml(path.read_bytes(), path.name).notes
    )


@pytest.mark.parametrize(
    "text, said",
    [
        ("not toml at all", "no TOML file"),
        ('kind = "shopping list"\n', "holds no"),
        ('kind = "emulsion calibration"\n[[measured]]\nwater_out_g = 3\n', "measured.batter"),
        (
            'kind = "emulsion calibration"\n[[measured]]\nwater_out_g = 3\n[measured.batter]\nwater_pct = 300\nprotein_pct = 12\nfat_pct = 2\n'
            "salt_pct = 2\n",
            "300",
        ),
        (
            'kind = "emulsion calibration"\n[[measured]]\nwater_out = 3\n[measured.batter]\n',
            "water_out",
        ),
        ('kind = "emulsion calibration"\nmeasured = 3\n', "holds no"),
    ],
)
def test_faulty_files_say_what_is_wrong(tmp_path, text, said):
    path = tmp_path / "bad.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Faulty, match=said):
        from_toml(path.read_bytes(), path.name)


def test_impossible_rows():
    with pytest.raises(OutOfRange, match="at least one measured row"):
        calibrate([])
    with pytest.raises(OutOfRange, match="holds no measurement"):
        MeasuredLoss(BASE)
    with pytest.raises(OutOfRange, match="more than it holds"):
        MeasuredLoss(BASE, fat_out_g=30)
    with pytest.raises(OutOfRange, match="cannot pass the raw weight"):
        from_cook(BASE, 10, 11)
    with pytest.raises(OutOfRange, match="drying"):
        from_cook(BASE, 10, 9.5, drying_pct=6)


def test_readings_become_grams():
    tube = from_tube(BASE, 30, fat_ml=0.3, gel_water_ml=1.5)
    assert tube.fat_out_g == pytest.approx(0.92) and tube.water_out_g == pytest.approx(5.0)
    assert from_cook(BASE, 20, 18, drying_pct=4).total_out_g == pytest.approx(6.0)


def test_the_total_says_nothing_new_beside_water_and_fat():
    full = calibrate([MeasuredLoss(BASE, water_out_g=5.0, fat_out_g=1.0, total_out_g=30.0)])
    assert (
        full.water_level
        == calibrate([MeasuredLoss(BASE, water_out_g=5.0, fat_out_g=1.0)]).water_level
    )
