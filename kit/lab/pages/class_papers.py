"""Every paper of a class in one folder, whole or not at all, the same bytes each time."""

import os
import shutil
import tempfile
from pathlib import Path

from kit.classroom.plan import ClassPlan
from kit.errors import KitError
from kit.lab.pages.class_cards import cards_html, labels_html
from kit.lab.pages.class_exercises import exercises_html
from kit.lab.pages.class_teacher import teacher_html
from kit.lab.pages.phone import phone_html
from kit.reading.class_book import station_book
from kit.reading.class_plan import plan_toml

PLACED = ("best possible", "found")


def papers(plan: ClassPlan) -> dict[str, bytes]:
    """File name -> its bytes: cards, teacher's page, labels, a page for phones, plan, one workbook a station. KitError where the room has no timetable, with what would make one."""
    times = plan.timetable
    if times.method not in PLACED:
        ways = "; ".join(f"{one.words} (ends at minute {one.ends_min})" for one in times.changes)
        raise KitError(
            f"there are no clock times for this room: {times.method}; {times.because or 'no order of the steps was found'}. {'What would do: ' + ways if ways else 'No single change would do: take fewer stations or tubes, or more minutes'}"
        )
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
    target = Path(folder)
    whole = papers(plan)
    own = {*whole, *(f"station_{n:02d}.xlsx" for n in range(1, 100))}
    if target.exists():
        if not target.is_dir() or {p.name for p in target.iterdir()} - own:
            raise KitError(f"{target.name} holds other files and is left alone; name a new folder")
        if any(target.iterdir()) and not overwrite:
            raise KitError(f"{target.name} exists; name a new folder, or say overwrite=True")
    draft = None
    try:
        draft = Path(
            tempfile.mkdtemp(prefix=f".{target.name[:40]}-", suffix=".part", dir=target.parent)
        )
        for name, held in whole.items():
            with (draft / name).open("xb") as out:
                out.write(held)
                out.flush()
                os.fsync(out.fileno())
        draft.chmod(0o755)
        if target.exists():
            shutil.rmtree(target)
        os.replace(draft, target)
    except OSError as cause:
        raise KitError(
            f"{target.name} could not be written ({cause.strerror or cause}); check that its folder exists, may be written to and has room"
        ) from None
    finally:
        if draft is not None:
            shutil.rmtree(draft, ignore_errors=True)
    return target
