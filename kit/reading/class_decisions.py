"""The teacher's answers to the findings of a class, as decisions.toml."""

from collections.abc import Iterable

from kit.classroom.results import ClassDecision
from kit.files import toml_lines
from kit.reading.class_toml import TEXT, ClassToml, number

DECISIONS = "class decisions"


KEYS = dict.fromkeys(ClassDecision.__dataclass_fields__, TEXT)
KEYS["value_g"] = number(-1e9, 1e9)


def decisions_toml(decisions: Iterable[ClassDecision]) -> str:
    """The text of decisions.toml."""
    held = ({k: v for k, v in vars(one).items() if v not in ("", None)} for one in decisions)
    blocks = (f"[[decision]]\n{toml_lines(one)}" for one in held)
    return "\n".join([toml_lines({"kind": DECISIONS}), *blocks])


def read_decisions(source) -> tuple[ClassDecision, ...]:
    """The decisions held by a path, text or bytes. Faulty with every fault at once."""
    said = ClassToml(source, "", "decisions in", DECISIONS)
    found = []
    for n, one in enumerate(said.list("decision", KEYS)):
        with said.caught("decision", n):
            texts = {key: one.get(key, "") for key in KEYS if key != "value_g"}
            found.append(ClassDecision(**texts, value_g=one.get("value_g")))
    said.faults.stop_if_any()
    return tuple(found)
