"""What a station hands in, as hand_in_03.toml: read whole or refused. A sum shows a file that was changed by accident; it protects against nothing else."""

from collections.abc import Iterator
from hashlib import sha256

from kit.classroom.codes import WrongCode, read_code
from kit.classroom.hand_in import EXERCISES, MOST_HINTS, HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.errors import Fault, Faulty, KitError
from kit.files import toml_lines
from kit.reading.class_results import files_of
from kit.reading.class_toml import TEXT, TEXTS, ClassToml, number, one_of
from kit.reading.shapes import FileLimits

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
    known = ("class_number", "station", *one.texts())
    head = {"kind": KIND, "version": VERSION} | {name: getattr(one, name) for name in known}
    blocks = [toml_lines(head)]
    for n, its in enumerate(one.answers, 1):
        held = {"number": n, "typed": list(its.typed), "hints": its.hints}
        blocks.append(f"[[exercise]]\n{toml_lines(held)}")
    for code, loss in sorted(one.tubes.items()):
        blocks.append(f"[[tube]]\n{toml_lines({'code': code, 'loss_pct': loss})}")
    return "\n".join(blocks)


TABLES = {
    "": {"kind": one_of(KIND), "version": number(VERSION, VERSION, whole=True), "sum": TEXT}
    | {"class_number": number(1, 9999, whole=True), "station": number(1, 99, whole=True)}
    | dict.fromkeys(HandIn.texts(), TEXT),
    "exercise": {
        "number": number(1, EXERCISES, whole=True),
        "typed": TEXTS,
        "hints": number(0, MOST_HINTS, whole=True),
    },
    "tube": {"code": TEXT, "loss_pct": TEXT},
}
"""table -> key -> what it may hold; every key is needed"""


def read_hand_in(source, plan: ClassPlan, name: str = "") -> HandIn:
    """The hand-in held by a path, text or bytes. Faulty where it is of another class or plan or of no station of it, or where it is not as it was written."""
    said = ClassToml(source, name, "hand-in", KIND, LIMITS, AGAIN)
    rows = {table: said.list(table, TABLES[table]) for table in ("exercise", "tube")}
    head = {key: value for key, value in said.data.items() if key not in rows}
    top = said.table("", head, TABLES[""])
    for table, its in (("", [top]), *rows.items()):
        for n, one in enumerate(its):
            for key in TABLES[table].keys() - one.keys() if not said.faults.found else ():
                said.add(table, key, f"{key} is missing", AGAIN, n)
    said.faults.stop_if_any()
    own = {key: top[key] for key in ("class_number", "station", *HandIn.texts())}
    with said.caught(""):
        answers = tuple(TypedAnswer(tuple(one["typed"]), one["hints"]) for one in rows["exercise"])
        tubes = {one["code"]: one["loss_pct"] for one in rows["tube"]}
        found = HandIn(**own, answers=answers, tubes=tubes)
    said.faults.stop_if_any()
    for key, what, remedy in _strange(found, plan):
        said.add("", key, what, remedy)
    for n, code in enumerate(found.tubes):
        if _station_of(code) != found.station:
            said.add(
                "tube", "code", f"{code[:20]!r} is no tube of station {found.station}", AGAIN, n
            )
    numbered = [one["number"] for one in rows["exercise"]] == [*range(1, EXERCISES + 1)]
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


def _station_of(code: str) -> int:
    """0 where it is no code of a tube."""
    try:
        return read_code(code).station
    except WrongCode:
        return 0


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
