"""The teacher's answers to the findings of a class, as decisions.toml."""

from collections.abc import Iterable
from pathlib import Path

from kit.classroom.results import ClassDecision
from kit.errors import KitError
from kit.faults import Faults
from kit.files import put
from kit.reading.class_plan import _FILE, _entries
from kit.reading.opener import load, toml_of

DECISIONS = "class decisions"


def write_decisions(decisions: Iterable[ClassDecision], path, overwrite: bool = False) -> Path:
    """Write decisions.toml, whole or not at all."""
    head = _entries({"kind": DECISIONS})
    blocks = [
        "[[decision]]\n" + _entries({k: v for k, v in vars(one).items() if v not in ("", None)})
        for one in decisions
    ]
    return put(path, "\n".join([head, *blocks]), (".toml",), overwrite)


def read_decisions(source) -> tuple[ClassDecision, ...]:
    """The decisions held by a path, text or bytes. Faulty with every fault at once."""
    whole, name = load(source, "the given text", _FILE)
    faults = Faults(name, f"The decisions in {name} cannot be used")
    data, _, _ = toml_of(whole, faults)
    rows = data.get("decision", [])
    if data.get("kind") != DECISIONS or not isinstance(rows, list):
        faults.stop("this holds no decisions", remedy=f'begin with kind = "{DECISIONS}"')
    known, found = tuple(ClassDecision.__dataclass_fields__), []
    for n, row in enumerate(rows, 1):
        at = f"decision {n}"
        if not isinstance(row, dict):
            faults.add("it is no table", name=at, remedy="write [[decision]] and its keys below it")
            continue
        for key in set(row) - set(known):
            faults.add(f"{key[:40]!r} is not known", name=at, remedy=f"keys: {', '.join(known)}")
        texts = {k: row.get(k, "") for k in known if k != "value_g"}
        value = row.get("value_g")
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not all(isinstance(v, str) for v in texts.values()) or not (value is None or number):
            faults.add(
                "a text or a number of the wrong kind",
                name=at,
                remedy='reason = "...", value_g = 43.1',
            )
            continue
        try:
            found.append(ClassDecision(**texts, value_g=value))
        except KitError as cause:
            faults.add(str(cause), name=at)
    faults.stop_if_any()
    return tuple(found)
