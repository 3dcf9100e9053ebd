"""Materials: every row of the table holds, and a person's own meat is read, bounded and placed on the lean line."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit import tables
from kit.errors import KitError, OutOfRange, UnknownName, UnknownStrength
from kit.materials import by_lab, material
from kit.materials.composition import (
    KINDS,
    PARTS,
    SPECIES,
    lean_line,
    materials,
    offered,
    rule_classes,
)
from kit.materials.given import by_eye, by_lean_ratio, parse_lean
from kit.materials.words import search, words


def test_the_table_holds_what_a_sausage_room_needs():
    meats = [m for m in materials().values() if m.kind == "meat"]
    dry = [
        m for m in materials().values() if m.kind in ("binder", "salt", "spice", "sugar", "other")
    ]
    assert len(meats) >= 45 and len(dry) >= 12
    assert {m.species for m in meats} == set(SPECIES)
    assert material("water").moisture_pct == material("ice").moisture_pct == 100


@pytest.mark.parametrize("name", sorted(materials()))
def test_every_row_has_a_source_and_closes(name):
    made = materials()[name]
    assert name == name.lower().strip() and made.kind in KINDS and made.rule_class in rule_classes()
    assert (
        made.status in tables.STATUSES
        and made.source in tables.sources()
        and made.where
        and made.cite()
    )
    assert math.isclose(
        sum(getattr(made, f"{p}_pct") for p in PARTS) + made.unaccounted_pct, 100, abs_tol=1e-9
    )
    assert made.fat_sd_pct == 0


def test_no_row_was_rescaled_to_add_up():
    off = [
        m.name
        for m in materials().values()
        if m.source.startswith("usda") and abs(m.unaccounted_pct) > 0.5
    ]
    assert "beef tongue" in off and "pork jowl" in off


def test_names_ignore_case_and_an_unknown_name_offers_three():
    assert material("  Pork Trim 50 ").fat_pct == 50
    with pytest.raises(UnknownName, match="pork trim 50") as caught:
        material("porc trim 50")
    assert len(caught.value.near) == 3


@pytest.mark.parametrize(
    "text, lean",
    [
        ("80/20", 80),
        ("80:20", 80),
        (" 80 / 20", 80),
        ("90CL", 90),
        ("90 CL", 90),
        ("90cl", 90),
        ("85 % lean", 85),
        ("85% lean", 85),
        ("72.5/27.5", 72.5),
        ("50/50", 50),
    ],
)
def test_lean_ratios_are_read(text, lean):
    assert parse_lean(text) == lean
    assert by_lean_ratio(text, "pork").fat_pct == 100 - lean


@pytest.mark.parametrize(
    "text",
    [
        "80",
        "80-20",
        "80/30",
        "lean",
        "",
        "-80/180",
        "120CL",
        "80/20/0",
        "80 % fat",
        "8O/20",
        "90 CL beef",
    ],
)
def test_other_writings_are_refused_with_examples(text):
    with pytest.raises(OutOfRange, match="80/20|between 0 and 100"):
        parse_lean(text)


def test_the_line_stops_where_it_says_nothing():
    assert "extrapolation" in by_lean_ratio("50/50", "beef").note
    assert "extrapolation" not in by_lean_ratio("80/20", "beef").note
    with pytest.raises(OutOfRange, match="by_lab"):
        by_lean_ratio("30/70", "beef")
    assert by_lean_ratio("30/70", "pork").moisture_pct > 0


@pytest.mark.parametrize("species", SPECIES)
def test_on_the_line_nothing_is_negative_and_the_parts_nearly_close(species):
    line = lean_line(species)
    fat = np.linspace(0, line.fat_limit_pct, 101)
    parts = np.array([*(line.pct(part, fat) for part in ("moisture", "protein", "ash")), fat])
    assert (parts >= 0).all()
    assert np.abs(parts.sum(axis=0) - 100).max() < 2


@given(st.sampled_from(SPECIES), st.floats(1, 30), st.floats(0.5, 15))
def test_a_meat_judged_by_eye_moves_along_its_line(species, low, width):
    made = by_eye("trim", species, low, low + width)
    assert math.isclose(made.fat_sd_pct, width / 3.28971, rel_tol=1e-4)
    there = made.at_fat(made.fat_high_pct)
    line = lean_line(species)
    assert math.isclose(there.moisture_pct, line.pct("moisture", low + width), abs_tol=1e-9)
    assert math.isclose(there.protein_pct, line.pct("protein", low + width), abs_tol=1e-9)
    assert there.fat_sd_pct == 0


def test_laboratory_values_say_what_was_not_measured_and_what_is_unusual():
    measured = by_lab("lean pork", "pork", 70, 19, 10, 1)
    assert measured.note == "" and measured.rule_class == "meat"
    assert "Ash was not measured" in by_lab("lean pork", "pork", 70, 19, 10).note
    assert "add up to 94.0" in by_lab("dry", "pork", 64, 19, 10, 1).note
    assert by_lab("thigh", "chicken", 70, 19, 10, 1).rule_class == "poultry"


@pytest.mark.parametrize(
    "call",
    [
        lambda: by_lab("x", "pork", 70, 25, 20, 1),  # adds up to 116
        lambda: by_lab("x", "pork", 40, 19, 10, 1),  # adds up to 70
        lambda: by_lab("x", "pork", float("nan"), 19, 10, 1),
        lambda: by_lab("x", "pork", 70, 19, -1, 1),
        lambda: by_lab("x", "pork", 70, 19, 10, 1, salt_pct=2),  # salt is part of ash
        lambda: by_lab("x", "", 70, 19, 10, 1, fat_low_pct=8, fat_high_pct=12),
        lambda: by_lab("x", "pork", 70, 19, 10, 1, fat_low_pct=12, fat_high_pct=14),
        lambda: by_lab("x", "pork", 70, 19, 10, 1, fat_low_pct=8),
        lambda: by_lab("x", "pork", 70, 19, "lots"),
        lambda: by_lab("x", "prok", 70, 19, 10, 1),
        lambda: by_eye("x", "pork", 28, 18),
        lambda: by_eye("x", "pork", 20, 20),
        lambda: by_eye("x", "horse", 18, 28),
        lambda: by_lean_ratio("80/20", ""),
    ],
)
def test_impossible_meat_is_refused(call):
    with pytest.raises(KitError):
        call()


def test_every_number_of_the_room_lies_within_its_bounds():
    rows = [
        n
        for n in tables.numbers().values()
        if n.name.startswith(("lean_line_", "composition_sum_"))
    ]
    assert len(rows) >= 40
    for row in rows:
        assert (
            row.low <= row.value <= row.high
            and row.status in tables.STATUSES
            and row.source in tables.sources()
        ), row.name


def test_published_meats_lie_within_the_usual_sum_but_for_the_one_named():
    low, high = (
        tables.value("composition_sum_usual_low"),
        tables.value("composition_sum_usual_high"),
    )
    outside = [
        m.name
        for m in materials().values()
        if m.kind == "meat"
        and m.source.startswith("usda")
        and not low - 1e-9 <= 100 - m.unaccounted_pct <= high
    ]
    assert outside == ["beef tongue"]


def test_each_material_stands_once_and_fills_its_row():
    """A list merged from two sides may hold a row twice, of which only the last would count."""
    rows = tables.read_rows("materials.csv")
    assert len({row["name"] for row in rows}) == len(rows) and not any(
        None in row or None in row.values() for row in rows
    )


@pytest.mark.parametrize(
    "species, tolerance", [("beef", 0.01), ("pork", 1.6), ("chicken", 2.1), ("turkey", 2.3)]
)
def test_each_lean_line_is_the_least_squares_line_of_the_rows_held(species, tolerance):
    """Refitted here by numpy from the rows of the table. Poultry rows scatter by up to 2.2 points (skin against muscle)."""
    line = lean_line(species)
    rows = [
        m
        for m in materials().values()
        if m.species == species
        and m.source.startswith("usda")
        and m.kind == "meat"
        and (
            m.rule_class in ("meat", "poultry")
            or m.name in ("chicken skin", "chicken fat", "turkey skin")
        )
        and (species != "beef" or "ground" in m.name)
    ]
    assert len(rows) >= 6
    fat = np.array([m.fat_pct for m in rows])
    for part in ("moisture", "protein", "ash"):
        seen = np.array([getattr(m, f"{part}_pct") for m in rows])
        slope, start = np.polyfit(fat, seen, 1)
        assert math.isclose(line.per_fat[part], slope, abs_tol=6e-6)
        assert math.isclose(line.at_no_fat[part], start, abs_tol=6e-4)
        assert np.abs(line.pct(part, fat) - seen).max() <= tolerance


@pytest.mark.parametrize(
    "word, found",
    [
        ("skim milk powder", "nonfat dry milk"),
        ("Rückenspeck", "pork backfat"),
        ("tocino dorsal", "pork backfat"),
        ("garlic", "spice, generic"),
        ("sweet paprika", "spice, generic"),
    ],
)
def test_a_word_of_the_trade_leads_to_its_material(word, found):
    assert search(word)[0].material == found
    with pytest.raises(UnknownName, match=found):
        material(word)


def test_every_word_means_a_row_of_the_list():
    assert {one.material for one in words()} <= {*offered(), "salt"}


@pytest.mark.parametrize("word", ["pink salt", "saltpetre", "Pökelsalz"])
def test_a_word_for_a_cure_asks_for_its_strength(word):
    with pytest.raises(UnknownStrength, match="which strength"):
        search(word)


@pytest.mark.parametrize("word", ["sodium nitrit", "sodium", "salty", "table sallt", "sodum"])
def test_a_slip_is_never_answered_with_a_poison_or_plain_salt(word):
    with pytest.raises(KitError) as error:
        material(word)
    near = getattr(error.value, "near", ())
    assert not {"sodium nitrite", "sodium nitrate", "salt"} & set(near)
