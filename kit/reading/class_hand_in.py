"""What a station hands in, as hand_in_03.toml: read whole or refused. A sum shows a file that was changed by accident; it protects against nothing else."""

from collections.abc import Iterator, Mapping
from hashlib import sha256
from pathlib import Path

from kit.classroom.codes import WrongCode, read_code
from kit.classroom.hand_in import HandIn, TypedAnswer
from kit.classroom.plan import ClassPlan
from kit.errors import Fault, Faulty, KitError, OutOfRange
from kit.files import put
from kit.reading.class_results import files_of
from kit.reading.class_toml import ClassToml, entries
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
    parts = _parts(one)
    blocks = [entries({k: v for k, v in parts.items() if not isinstance(v, list)})]
    for name in ("exercise", "tube"):
        blocks += [f"[[{name}]]\n{entries(held)}" for held in parts[name]]
    return "\n".join(blocks)


def _parts(one: HandIn) -> dict:
    """What the file holds beside its sum."""
    known = ("class_number", "station", *one.texts())
    return {
        "kind": KIND,
        "version": VERSION,
        **{name: getattr(one, name) for name in known},
        "exercise": [
            {"number": n, "typed": list(its.typed), "hints": its.hints}
            for n, its in enumerate(one.answers, 1)
        ],
        "tube": [{"code": code, "loss_pct": loss} for code, loss in sorted(one.tubes.items())],
    }


def write_hand_in(one: HandIn, path, overwrite: bool = False) -> Path:
    """Write the station's file, whole or not at all."""
    return put(path, hand_in_toml(one), (SUFFIX,), overwrite)


def read_hand_in(source, plan: ClassPlan, name: str = "") -> HandIn:
    """The hand-in held by a path, text or bytes. Faulty where it is of another class or plan or of no station of it, or where it is not as it was written."""
    said = ClassToml(source, name, "hand-in", KIND, LIMITS)
    try:
        found = _held(said.data)
    except KitError as cause:
        said.stop("", "", str(cause), AGAIN)
    written = _parts(found) | {"sum": said.data.get("sum")}
    for key in dict.fromkeys((*written, *said.data)):
        table, name = (key, "") if key in ("exercise", "tube") else ("", key[:40])
        if key not in written:
            said.add(table, name, f"{key[:40]!r} is not known", AGAIN)
        elif repr(said.data.get(key)) != repr(written[key]):
            said.add(table, name, f"{key} is {said.data.get(key)!r:.60}", AGAIN)
    for key, what, remedy in _strange(found, plan):
        said.add("", key, what, remedy)
    for n, code in enumerate(found.tubes):
        if _station_of(code) != found.station:
            said.add(
                "tube", "code", f"{code[:20]!r} is no tube of station {found.station}", AGAIN, n
            )
    if written["sum"] != _sum(found):
        what = "its sum does not fit: it was changed or cut after it was written"
        said.add("", "sum", what, f"perhaps by a mail program or an editor; {AGAIN}")
    said.faults.stop_if_any()
    return found


def _held(data: dict) -> HandIn:
    """What the tables say; OutOfRange where something is missing or of another kind."""
    rows = {name: data.setdefault(name, []) for name in ("exercise", "tube")}
    for name, held in rows.items():
        if not isinstance(held, list) or not all(isinstance(one, Mapping) for one in held):
            raise OutOfRange(f"{name} is {held!r:.60}; it is a list of entries")
    answers = []
    for n, one in enumerate(rows["exercise"], 1):
        typed = one.get("typed")
        if not isinstance(typed, list) or one.get("number") != n:
            raise OutOfRange(f"exercise {n} is {one!r:.60}")
        answers.append(TypedAnswer(tuple(typed), one.get("hints")))
    tubes = {str(one.get("code")): one.get("loss_pct") for one in rows["tube"]}
    known = {name: data.get(name) for name in ("class_number", "station", *HandIn.texts())}
    return HandIn(**known, answers=tuple(answers), tubes=tubes)  # type: ignore[arg-type]


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
