"""No page of a student holds grams of a nitrite salt, and no bag of the teacher's a dose above its ceiling: random plans, the arithmetic done here."""

import io
import random
import re
from dataclasses import replace
from html import unescape

from openpyxl import load_workbook

from kit.classroom.recipe import cure_bags
from kit.classroom.tasks import ClassRoom
from kit.lab.pages import class_cards
from kit.lab.pages.class_cards import cards_html, labels_html
from kit.lab.pages.class_exercises import exercises_html
from kit.reading.class_book import station_book
from kit.reading.class_plan import read_plan
from kit.sheet.sheet import sheet_of
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
CEILING_PPM = 156.25
"""sodium nitrite on the meat, United States, 9 CFR 424.21(c): 1/4 oz per 100 lb"""
PLANS = 40
NAMES = ("pink stuff", "house premix", "Pökelsalz", "cure no. 1", "salt from the blue tin")
FACTORS = {"end_C": (13, 18), "salt_pct": (2, 0.5), "fat_pct": (20, 26), "ice_g": (0, 8)}
TIMETABLE = PLAN.timetable
"""clock times do not depend on the cure; every plan here borrows these"""


def a_plan(rng):
    """A cured class: any strength, rate and name of the premix, any load, scale, factor and seed; some doses far too high."""
    data, strength = PLAN.sheet.as_dict(), rng.choice([0.4, 0.5, 0.6, 0.9, 4, 5.67, 6.25, 100])
    line = next(one for one in data["line"] if one["kind"] == "cure")
    line.pop("material", None)
    ppm = rng.uniform(20, 400)
    line |= {"name": rng.choice(NAMES), "nitrite_pct": strength, "amount": f"{ppm / strength / 10:.6g} g/kg of meat"}  # fmt: skip
    factor = rng.choice(list(FACTORS))
    made = replace(
        PLAN,
        sheet=sheet_of(data),
        prices={},
        cured=True,
        factor=(factor,),
        levels=(FACTORS[factor],),
        seed=rng.randrange(2**31),
        class_number=rng.randrange(1, 10_000),
        least_kg=rng.choice([0.1, 0.3, 2.0, 20.0]),
        units=rng.choice(["metric", "US"]),
        room=ClassRoom(balance_step_g=rng.choice([0.001, 0.01, 0.1, 1.0, 5.0])),
    )
    made.__dict__["timetable"] = TIMETABLE
    return made, line["name"], strength


def student_pages(plan, station):
    pages = (cards_html(plan, station), labels_html(plan), exercises_html(plan))
    for page in pages:
        yield unescape(re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.S))
    book = load_workbook(io.BytesIO(station_book(plan, station)))
    yield " ".join(str(cell.value) for tab in book for row in tab.iter_rows() for cell in row)


def test_no_student_page_holds_grams_of_a_nitrite_salt_and_no_bag_passes_the_ceiling(monkeypatch):
    monkeypatch.setattr(class_cards, "qr", lambda text: text)  # squares hold the code alone
    rng, weighed, withheld = random.Random(18), 0, 0
    for _ in range(PLANS):
        plan, name, strength = a_plan(rng)
        station = rng.randrange(1, 9)
        for shown in student_pages(plan, station):
            assert name not in shown
            near = re.findall(
                r"(?:nitrite|cure|premix)\W+(?:\w+\W+){0,3}?[\d.]+ ?(?:g|mg|kg|oz|lb)\b", shown
            )
            assert not [one for one in near if "ppm" not in one], near
        bags = cure_bags(plan.design, plan.sheets)
        assert len(bags) == 16
        for at, batter, row in bags:
            unit = next(u for u in plan.design.units if (u.station, u.batter) == (at, batter))
            meat_g = 1000 * sum(x.kg for x in plan.sheets[unit.treatment].of_kind("meat"))
            if row.withheld or row.reading_g is None:
                withheld += 1
                continue
            weighed += 1
            ppm = row.reading_g * strength / 100 / meat_g * 1e6
            assert ppm <= CEILING_PPM + 1e-6, (strength, row.reading_g, meat_g, ppm)
    assert weighed > 100 and withheld > 100, "both kinds were met"


def test_grams_of_a_cure_on_a_card_would_be_seen():
    plan, name, _ = a_plan(random.Random(1))
    spoilt = cards_html(plan, 1).replace("cure: the teacher", f"{name} 0.9 g: the teacher")
    assert name in spoilt and name not in cards_html(plan, 1)
