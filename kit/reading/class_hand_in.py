"""What a station hands in, as hand_in_03.toml: read whole or refused. A sum shows a file that was changed by accident; it protects against nothing else."""

from collections.abc import Iterator
from functools import partial
from hashlib import sha256

from kit.classroom.codes import read_code
from kit.classroom.hand_in import EXERCISES, HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.errors import Fault, Faulty, KitError, attempt
from kit.files import toml_text
from kit.reading.class_results import files_of
from kit.reading.class_toml import TEXT, TEXTS, ClassToml, number
from kit.reading.shapes import FileLimits
from kit.trial.rows import BOUNDS

KIND, VERSION, SUFFIX = "class hand-in", 1, ".toml"
SAID = "# The sum shows a file that was changed by accident. It is no protection against a change on purpose.\n"
LIMITS = FileLimits((SUFFIX,), 200_000, "a hand-in is one station's; hand in one file for each")
AGAIN = "ask the station for its file once more"


def fingerprint(whole: bytes) -> str:
    """Sixteen letters by which a changed file is told."""
    return sha256(whole).hexdigest()[:16]


def hand_in_toml(one: HandIn) -> str:
    """The text of hand_in_SS.toml."""
    return f'{SAID}sum = "{_sum(one)}"\n{_body(one)}'


def _sum(one: HandIn) -> str:
    return fingerprint(_body(one).encode("utf-8", "replace"))


def _body(one: HandIn) -> str:
    """What the file holds beside its sum."""
    answers = [
        {"number": n, "typed": its.typed, "hints": its.hints}
        for n, its in enumerate(one.answers, 1)
    ]
    tubes = [{"code": code, "loss_pct": loss} for code, loss in sorted(one.tubes.items())]
    head = {"kind": KIND, "version": VERSION} | {name: getattr(one, name) for name in OWN}
    return toml_text({**head, "exercise": answers, "tube": tubes})


OWN = "class_number", "station", *HandIn.texts()
TOP = (
    {"version": number(VERSION, VERSION, whole=True), "sum": TEXT}
    | {name: number(*BOUNDS[name]) for name in ("class_number", "station")}
    | dict.fromkeys(HandIn.texts(), TEXT)
)
EXERCISE = {
    "number": number(1, EXERCISES, whole=True),
    "typed": TEXTS,
    "hints": number(*BOUNDS["hints"]),
}
TUBE = {"code": TEXT, "loss_pct": TEXT}
"""key -> what it may hold; every key is needed"""


def read_hand_in(source, plan: ClassPlan, name: str = "") -> HandIn:
    """The hand-in held by a path, text or bytes. Faulty where it is of another class or plan or of no station of it, or where it is not as it was written."""
    said = ClassToml(source, name, "hand-in", KIND, LIMITS, AGAIN)
    top = said.top(TOP, ("exercise", "tube"), TOP)
    exercises = said.list("exercise", EXERCISE, EXERCISE)
    tubes = said.list("tube", TUBE, TUBE)
    said.faults.stop_if_any()
    with said.caught(""):
        answers = tuple(TypedAnswer(one["typed"], one["hints"]) for one in exercises)
        losses = {one["code"]: one["loss_pct"] for one in tubes}
        found = HandIn(**{key: top[key] for key in OWN}, answers=answers, tubes=losses)
    said.faults.stop_if_any()
    for key, what, remedy in _strange(found, plan):
        said.add("", key, what, remedy)
    for n, code in enumerate(found.tubes):
        place, _ = attempt(partial(read_code, code))
        if not place or place[0] != found.station:
            what = f"{code[:20]!r} is no tube of station {found.station}"
            said.add("tube", "code", what, AGAIN, n)
    numbered = [one["number"] for one in exercises] == [*range(1, EXERCISES + 1)]
    if top["sum"] != _sum(found) or not numbered:
        what = "its sum does not fit: it was changed or cut after it was written"
        said.add("", "sum", what, f"perhaps by a mail program or an editor; {AGAIN}")
    said.faults.stop_if_any()
    return found


def _strange(found: HandIn, plan: ClassPlan) -> Iterator[tuple[str, str, str]]:
    """What belongs to another class, plan or station: (key, what, remedy)."""
    if found.class_number != plan.class_number:
        what = f"it is of class {found.class_number}, this plan is class {plan.class_number}"
        yield "class_number", what, "mark it with its own plan"
    elif found.plan != plan.fingerprint:
        what = f"it was made with another plan ({found.plan[:20]!r})"
        yield "plan", what, f"this plan is {plan.fingerprint}"
    if found.station not in plan.present:
        remedy = f"it has 1 to {plan.stations}, absent ones left out"
        yield "station", f"station {found.station} is not in this plan", remedy


def read_hand_ins(sources, plan: ClassPlan) -> tuple[tuple[HandIn, ...], tuple[Fault, ...]]:
    """Those of a folder (hand_in*.toml), a path, or several paths or pairs of (file name, bytes): what could be read by station, and every fault with its file.

    Of two different files of one station neither is taken. KitError where there is no file at all.
    """
    read: dict[int, dict[str, HandIn]] = {}
    faults: list[Fault] = []
    for name, source in files_of(sources, "hand_in*", (SUFFIX,)):
        try:
            one = read_hand_in(source, plan, name)
        except Faulty as cause:
            faults += cause.faults
        except KitError as cause:
            faults.append(Fault(str(cause), file=name))
        else:
            read.setdefault(one.station, {})[name] = one
    for station, its in read.items():
        if any(one != next(iter(its.values())) for one in its.values()):
            what = f"station {station} handed in different files: {', '.join(its)}"
            remedy = "keep the one that counts, take the other away"
            faults += [Fault(what, file=name, remedy=remedy) for name in its]
            its.clear()
    taken = (next(iter(its.values())) for _, its in sorted(read.items()) if its)
    return tuple(taken), tuple(faults)
