"""What a station hands in, as hand_in_03.toml: read whole or refused with every fault. A sum shows a file that was changed by accident; it protects against nothing else."""

from hashlib import sha256
from pathlib import Path

from kit.classroom.codes import WrongCode, read_code
from kit.classroom.hand_in import EXERCISES, HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.errors import Fault, Faulty, KitError
from kit.faults import Faults
from kit.files import put
from kit.reading.class_plan import _entries, _Said
from kit.reading.class_results import files_of
from kit.reading.opener import load, toml_of
from kit.reading.shapes import FileLimits
from kit.reading.sheets import _rows

KIND, VERSION, SUFFIX = "class hand-in", 1, ".toml"
SAID = "# The sum shows a file that was changed by accident. It is no protection against a change on purpose.\n"
LIMITS = FileLimits((SUFFIX,), 200_000, "a hand-in is one station's; hand in one file for each")
MOST_TYPED, MOST_LETTERS = 200, 2000
"""entries of one exercise, and letters of one entry"""
AGAIN = "ask the station for its file once more"
_NUMBERS = {"version": VERSION, "class_number": 9999, "station": 99}
_TEXTS = (
    "plan",
    "guess",
    "guessed_at",
    "results_file",
    "results_sum",
    "conclusion",
    "handed_in_at",
)


def fingerprint(whole: bytes) -> str:
    """Sixteen letters by which a changed file is told."""
    return sha256(whole).hexdigest()[:16]


def hand_in_toml(one: HandIn) -> str:
    """The text of hand_in_SS.toml."""
    return f"{SAID}sum = {_sum(one)!r}\n".replace("'", '"') + _body(one)


def _sum(one: HandIn) -> str:
    return fingerprint(_body(one).encode("utf-8", "replace"))


def _body(one: HandIn) -> str:
    head = {"kind": KIND, "version": VERSION, "class_number": one.class_number}
    head |= {key: getattr(one, key) for key in ("station", *_TEXTS)}
    blocks = [_entries(head)]
    blocks += [
        "[[exercise]]\n" + _entries({"number": n, "typed": its.typed, "hints": its.hints})
        for n, its in enumerate(one.answers, 1)
    ]
    blocks += [
        "[[tube]]\n" + _entries({"code": code, "loss_pct": typed})
        for code, typed in sorted(one.tubes.items())
    ]
    return "\n".join(blocks)


def write_hand_in(one: HandIn, folder, overwrite: bool = False) -> Path:
    """Write the station's file into a folder, whole or not at all."""
    return put(Path(folder) / one.file_name, hand_in_toml(one), (SUFFIX,), overwrite)


def read_hand_in(source, plan: ClassPlan, name: str = "the given text") -> HandIn:
    """The hand-in held by a path, text or bytes. Faulty with every fault at once: of another class or plan, a station that is not in it, a sum that does not fit."""
    whole, name = load(source, name, LIMITS)
    faults = Faults(name, f"The hand-in {name} cannot be used")
    data, toml, _ = toml_of(whole, faults)
    said = _Said(faults, _rows(toml))
    if data.get("kind") != KIND:
        what = f"this is no hand-in: kind is {data.get('kind')!r:.60}"
        faults.stop(what, remedy="give the file hand_in_SS.toml that the station's page wrote")

    def text(held: dict, key: str, table: str = "", number: int = 0) -> str:
        value = held.get(key, "")
        if isinstance(value, str) and len(value) <= MOST_LETTERS:
            return value
        what = f"{key} is {value!r:.60}"
        said.add(table, key, what, f"a text of at most {MOST_LETTERS} letters; {AGAIN}", number)
        return ""

    def count(held: dict, key: str, high: int, table: str = "", number: int = 0) -> int:
        value = held.get(key)
        if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= high:
            return value
        said.add(
            table, key, f"{key} is {value!r:.60}", f"a whole number to {high}; {AGAIN}", number
        )
        return 0

    def blocks(key: str) -> list[dict]:
        held = data.get(key, [])
        if isinstance(held, list) and all(isinstance(one, dict) for one in held):
            return held
        said.add("", key, f"{key} is no list of entries", AGAIN)
        return []

    for key in set(data) - {"kind", "sum", "exercise", "tube", *_NUMBERS, *_TEXTS}:
        said.unknown("", key, (*_NUMBERS, *_TEXTS))
    numbers = {key: count(data, key, high) for key, high in _NUMBERS.items()}
    answers = []
    for n, held in enumerate(blocks("exercise")):
        typed = held.get("typed")
        if not isinstance(typed, list) or len(typed) > MOST_TYPED or held.get("number") != n + 1:
            said.add("exercise", "typed", f"exercise {n + 1} cannot be read", AGAIN, n)
            typed = []
        entries = tuple(text({"typed": one}, "typed", "exercise", n) for one in typed)
        answers.append(TypedAnswer(entries, count(held, "hints", 10_000, "exercise", n)))
    if len(answers) != EXERCISES:
        said.add("", "exercise", f"{len(answers)} exercises, not {EXERCISES}", AGAIN)
    tubes = {
        text(held, "code", "tube", n): text(held, "loss_pct", "tube", n)
        for n, held in enumerate(blocks("tube"))
    }
    texts = {key: text(data, key) for key in _TEXTS}
    faults.stop_if_any()
    numbers.pop("version")
    found = HandIn(answers=tuple(answers), tubes=tubes, **numbers, **texts)  # type: ignore[arg-type]
    _belongs(found, plan, said)
    if data.get("sum") != _sum(found):
        what = "its sum does not fit: it was changed or cut after it was written"
        said.add("", "sum", what, f"perhaps by a mail program or an editor; {AGAIN}")
    faults.stop_if_any()
    return found


def _belongs(found: HandIn, plan: ClassPlan, said: _Said) -> None:
    if found.class_number != plan.class_number:
        what = f"it is of class {found.class_number}, this plan is class {plan.class_number}"
        said.add("", "class_number", what, "mark it with its own plan")
    elif found.plan != plan.fingerprint:
        what = f"it was made with another plan ({found.plan[:20]!r})"
        said.add("", "plan", what, f"this plan is {plan.fingerprint}")
    if found.station not in {u.station for u in plan.design.units}:
        what = f"station {found.station} is not in this plan"
        said.add("", "station", what, f"it has 1 to {plan.stations}, absent ones left out")
    for n, code in enumerate(found.tubes):
        try:
            strange = read_code(code).station != found.station
        except WrongCode:
            strange = True
        if strange:
            what = f"{code[:20]!r} is no tube of station {found.station}"
            said.add("tube", "code", what, AGAIN, n)


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
    taken = []
    for station, its in sorted(read.items()):
        first = next(iter(its.values()))
        if all(one == first for one in its.values()):
            taken.append(first)
            continue
        what = f"station {station} handed in different files: {', '.join(its)}"
        remedy = "keep the one that counts, take the other away"
        faults += [Fault(what, file=name, remedy=remedy) for name in its]
    return tuple(taken), tuple(faults)
