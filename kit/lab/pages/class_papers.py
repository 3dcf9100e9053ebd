"""Every paper of a class in one folder, whole or not at all, the same bytes each time."""

from pathlib import Path

from kit.classroom.plan import ClassPlan
from kit.errors import KitError, need
from kit.files import put_folder
from kit.lab.pages.class_cards import cards_html, labels_html
from kit.lab.pages.class_exercises import exercises_html
from kit.lab.pages.class_teacher import teacher_html
from kit.lab.pages.phone import phone_html
from kit.reading.class_book import station_book
from kit.reading.class_plan import plan_toml


def papers(plan: ClassPlan) -> dict[str, bytes]:
    """File name -> its bytes: cards, teacher's page, labels, a page for phones, plan, one workbook a station. KitError where the room has no timetable, with what would make one."""
    times = plan.timetable
    need(times.placed, f"there are no clock times for this room: {times.no_times}", KitError)
    pages = {
        "cards.html": cards_html(plan),
        "teacher.html": teacher_html(plan),
        "labels.html": labels_html(plan),
        "exercises.html": exercises_html(plan),
        "phone.html": phone_html(plan),
        "plan.toml": plan_toml(plan),
    }
    return {name: text.encode() for name, text in pages.items()} | {
        f"station_{station:02d}.xlsx": station_book(plan, station) for station in plan.present
    }


def print_class(plan: ClassPlan, folder, overwrite: bool = False) -> Path:
    """Write every paper of the class into a new folder, which appears whole or not at all.

    With `overwrite` an earlier folder of papers is taken away first; one that holds anything else is left alone. KitError says what is in the way.
    """
    whole = papers(plan)
    earlier = {*whole, *(f"station_{n:02d}.xlsx" for n in range(1, 100))}
    return put_folder(folder, whole, overwrite, earlier)
