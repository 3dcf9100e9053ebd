"""The teacher's answers to the findings of a class, as decisions.toml."""

from collections.abc import Iterable

from kit.classroom.results import ClassDecision
from kit.files import toml_text
from kit.reading.class_toml import TEXT, ClassToml, number

DECISIONS = "class decisions"
KEYS = dict.fromkeys(ClassDecision.__dataclass_fields__, TEXT) | {"value_g": number(-1e9, 1e9)}
NEEDED = "finding", "action", "reason"


def decisions_toml(decisions: Iterable[ClassDecision]) -> str:
    """The text of decisions.toml."""
    said = [{k: v for k, v in vars(one).items() if v not in ("", None)} for one in decisions]
    return toml_text({"kind": DECISIONS, "decision": said})


def read_decisions(source) -> tuple[ClassDecision, ...]:
    """The decisions held by a path, text or bytes. Faulty with every fault at once."""
    said, found = ClassToml(source, "", "decisions in", DECISIONS), []
    for n, one in enumerate(said.list("decision", KEYS)):
        with said.caught("decision", n):
            found.append(ClassDecision(**dict.fromkeys(NEEDED, "") | one))
    said.faults.stop_if_any()
    return tuple(found)
