"""A class on paper: whole or not at all, the same bytes again, escaped, and nothing on a student's page that does not belong there."""

import os
import re
import signal
from contextlib import suppress
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from kit.classroom.codes import code, station_code
from kit.classroom.recipe import cure_bags
from kit.classroom.tasks import ClassRoom
from kit.errors import KitError
from kit.lab.lessons.station import exercises
from kit.lab.pages import class_papers
from kit.lab.pages.class_cards import STEPS, cards_html, labels_html
from kit.lab.pages.class_exercises import exercises_html
from kit.lab.pages.class_papers import papers, print_class
from kit.lab.pages.class_teacher import ASK, HYGIENE, teacher_html
from kit.reading.class_plan import read_plan
from kit.sheet.sheet import sheet_of
from kit.tables import data_path

PLAN = read_plan(data_path("demo", "class", "plan.toml"))
CURED = replace(PLAN, cured=True)


class _Page(HTMLParser):
    def __init__(self, page):
        super().__init__()
        self.tags, self.links, self.words, self.quiet = [], [], [], False
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.links += [v for k, v in attributes if k in ("href", "src", "onload", "onclick")]
        self.quiet = tag == "style"

    def handle_endtag(self, tag):
        self.quiet = False

    def handle_data(self, data):
        if not self.quiet:
            self.words.append(data)


def words(page):
    return " ".join(" ".join(_Page(page).words).split())


def sides(page):
    return page.split('<section class="sheet">')[1:]


def test_the_folder_is_whole_and_made_again_to_the_byte_from_its_plan(tmp_path):
    folder = print_class(PLAN, tmp_path / "class 17")
    held = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert set(held) == {
        "cards.html",
        "teacher.html",
        "labels.html",
        "phone.html",
        "exercises.html",
        "plan.toml",
        *(f"station_{n:02d}.xlsx" for n in range(1, 9)),
    }
    assert papers(read_plan(folder / "plan.toml")) == held
    assert [path.name for path in tmp_path.iterdir()] == ["class 17"]


def test_another_folder_is_left_alone(tmp_path):
    folder = print_class(PLAN, tmp_path / "a")
    with pytest.raises(KitError, match="exists and is left as it is"):
        print_class(PLAN, folder)
    print_class(replace(PLAN, absent=(3,)), folder, overwrite=True)
    assert not (folder / "station_03.xlsx").exists() and (folder / "station_04.xlsx").exists()
    (folder / "mine.txt").write_text("notes")
    with pytest.raises(KitError, match="other files"):
        print_class(PLAN, folder, overwrite=True)
    (tmp_path / "b").write_text("a file")
    with pytest.raises(KitError, match="b exists"):
        print_class(PLAN, tmp_path / "b", overwrite=True)


@pytest.fixture(scope="module")
def whole():
    """What is written, made once."""
    return papers(PLAN)


@pytest.mark.parametrize("written", [0, 1, 7, 13, None])
def test_a_run_that_is_killed_leaves_a_whole_folder_or_none(tmp_path, monkeypatch, whole, written):
    """Killed once so many files are written, None after the last; then run again."""
    monkeypatch.setattr(
        class_papers, "papers", lambda plan: whole
    )  # so that it is writing that is cut off
    folder, process = tmp_path / "class", os.fork()
    if not process:
        print_class(PLAN, folder)
        os._exit(0)
    while written and not folder.exists():
        with suppress(FileNotFoundError):  # it may be moved to its place meanwhile
            if len(list(tmp_path.glob(".*.part/new/*"))) >= written:
                break
    if written is not None:
        os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    assert written != 0 or not folder.exists()
    assert written is not None or folder.exists()
    for _ in range(2):
        assert not folder.exists() or {p.name: p.read_bytes() for p in folder.iterdir()} == whole
        print_class(PLAN, folder, overwrite=True)


def test_a_room_without_clock_times_says_what_would_do():
    with pytest.raises(KitError, match="balance.*What would do: .*ends at minute"):
        papers(replace(PLAN, room=ClassRoom((70, 90), balances=1), stations=6))


@pytest.mark.parametrize("plan", [PLAN, CURED, replace(PLAN, units="US", paper="Letter")])
@pytest.mark.parametrize("page", [cards_html, labels_html, teacher_html, exercises_html])
def test_a_page_stands_alone(plan, page):
    found = page(plan)
    its = _Page(found)
    assert not {"script", "link", "img", "iframe", "object"} & set(its.tags)
    assert its.links == [] and "url(http" not in found and "@import" not in found
    assert f"size: {plan.paper}" in found
    sizes = [float(one) for one in re.findall(r"(?:font(?:-size)?:[^;}]*?)([\d.]+)pt", found)]
    assert sizes and min(sizes) >= 11


def test_what_a_person_wrote_is_escaped():
    bad = '<script>alert("x")</script>'
    data = PLAN.sheet.as_dict()
    data["line"][0]["name"] = bad
    plan = replace(PLAN, sheet=sheet_of(data), prices={})
    for page in (cards_html(plan), teacher_html(plan)):
        assert "<script" not in page and "&lt;script&gt;" in page


def test_two_sides_a_station_and_only_the_first_knows_the_level():
    found = sides(cards_html(PLAN))
    assert len(found) == 16
    for n, side in enumerate(found):
        station = n // 2 + 1
        shown = words(side)
        codes = {code(station, b, t) for b in (1, 2) for t in (1, 2, 3)}
        if n % 2:
            assert codes <= set(re.findall(r"S\d\dB\dT\d-\d", shown))
            assert side.count("<svg") == 6 + 5 and "°C" not in shown and "pork" not in shown
            assert shown.index("Guess first") < shown.index("Tare")
        else:
            assert "13 °C" in shown and "18 °C" in shown and not codes & set(shown.split())
            assert all(caution.split(".")[0] in shown for _, caution in STEPS.values())


def test_cautions_stand_at_the_step_where_they_bite():
    first = sides(cards_html(PLAN))[0]
    rows = {row.split("</th>")[0]: row for row in first.split("<tr><th>")[1:]}
    assert "Blades" in rows["chop"] and "knives have stopped" in rows["chop"]
    assert "scalds" in rows["bath"] and "llergen" in rows["weigh"]
    assert not any("Blades" in rows[step] for step in ("weigh", "fill", "bath", "read"))


def test_every_card_says_that_nothing_is_eaten_unless_a_licence_allows_it():
    assert all("Nothing made in this lesson is eaten" in side for side in sides(cards_html(PLAN)))
    eaten = sides(cards_html(replace(PLAN, eaten=True)))
    assert all("licensed practice" in side and "nothing from a tube" in side for side in eaten)


@pytest.mark.parametrize("strength", [0.4, 6.25])
def test_no_student_page_holds_grams_of_a_cure(strength):
    data = CURED.sheet.as_dict()
    line = next(one for one in data["line"] if one["kind"] == "cure")
    name = line["name"] = f"premix {strength:g} %"
    line["nitrite_pct"] = strength
    del line["material"]
    line["amount"] = f"{100 / strength / 10:g} g/kg of meat"
    plan = replace(CURED, sheet=sheet_of(data), prices={})
    cards, teacher = words(cards_html(plan)), words(teacher_html(plan))
    assert name not in cards and "bag 1-1" in cards
    bags = cure_bags(plan.design, plan.sheets)
    assert len(bags) == 16 and name in teacher and "poisonous" in teacher
    row = bags[0][2]
    shown = "withheld" if row.withheld or row.reading_g is None else f"{row.reading_g:g} g"
    assert shown in teacher
    assert f"{name} " not in words(labels_html(plan))


def test_without_cure_none_is_named_on_a_student_s_page():
    shown = words(cards_html(PLAN)) + words(labels_html(PLAN))
    assert "premix" not in shown and "nitrite" not in shown
    assert "No cure goes into the bowl" in teacher_html(PLAN)


def test_the_teacher_s_page_holds_what_is_needed_to_run_and_to_make_again():
    shown = words(teacher_html(PLAN))
    for needed in (ASK, HYGIENE[0], "Key of levels", "Longest wait of any batter", "Shopping list"):
        assert " ".join(needed.split()) in shown
    assert "pork backfat" in shown and f"seed = {PLAN.seed}" in shown
    assert "class could" not in shown and "may not show" in shown


def test_exercises_are_on_paper_with_the_station_s_code_and_only_the_teacher_has_answers():
    sheets, teacher = sides(exercises_html(PLAN)), words(teacher_html(PLAN))
    assert len(sheets) == 9 and data_path("..", "notebooks", "11_your_station.ipynb").is_file()
    for station, (sheet, card) in enumerate(zip(sheets, sides(cards_html(PLAN))[1::2]), 1):
        its_code = station_code(station, PLAN.class_number)
        assert its_code in words(sheet) and its_code in words(card)
        assert "11_your_station" in words(card)
        shown = " ".join(words(sheet).split())
        for one in exercises(PLAN.seed, station):
            assert " ".join(one.question.split()) in shown
            answer, *working = one.solution().splitlines()
            assert answer.removesuffix(one.unit).strip() in teacher and not any(
                line.strip() in shown for line in working
            )


def test_labels_have_three_spare_ones_a_station():
    found = labels_html(PLAN)
    assert found.count(", spare") == 3 * 8 and found.count("<svg") == 8 * 6


def test_the_five_fold_drawings_differ():
    first = sides(cards_html(PLAN))[1]
    assert len(set(re.findall(r'<svg[^>]*aria-label="fold score.*?</svg>', first))) == 5
