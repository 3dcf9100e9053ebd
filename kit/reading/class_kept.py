"""What a class leaves behind: its tubes in one table (merged.csv), which sets the levels of lesson 04, and its scatter (scatter.toml), for the power of the next class."""

import csv
import io

from kit.classroom.codes import code
from kit.classroom.results import ClassResults
from kit.emulsion.batter import NUMBERS
from kit.errors import KitError
from kit.faults import need_said
from kit.files import guarded, number_text, toml_text
from kit.reading.class_plan import scatter_entries, scatter_said
from kit.reading.class_toml import ClassToml
from kit.reading.tubes import OF_CLASS
from kit.trial.scatter import ClassScatter

SCATTER_KIND = "class scatter"


def merged_csv(results: ClassResults) -> str:
    """Every tube of the class after the decisions, with the whole batter of its level: a table that lesson 04 reads. KitError while a finding is open."""
    names = ", ".join(one.key for one in results.open[:3])
    need_said(not results.open, "findings open", KitError, count=len(results.open), names=names)
    plan, question, out = results.plan, results.plan.question, io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow((*OF_CLASS, "note", *NUMBERS))
    for t in results.tubes:
        its = question.treatments[plan.design.level[t.key[:2]]]
        batter = question.batter_at(its)
        loss = t.loss_pct if t.usable else None
        read = map(_number, (t.empty_g, t.filled_g, t.after_g, loss, t.fold, t.depth_mm))
        made = (number_text(float(getattr(batter, name))) for name in NUMBERS)
        place = plan.fingerprint, code(*t.key), *t.key, question.said(its), question.response
        table.writerow((*place, *read, guarded(t.note), *made))
    return out.getvalue()


def _number(value: float | None) -> str:
    return "" if value is None else number_text(value)


def scatter_toml(its: ClassScatter) -> str:
    """The text of scatter.toml."""
    return toml_text({"kind": SCATTER_KIND} | scatter_entries(its))


def read_scatter(source) -> ClassScatter:
    """The scatter that an earlier class left: a path (.toml), TOML text or bytes. Faulty with every fault at once."""
    said = ClassToml(source, "", "scatter in", SCATTER_KIND)
    found = scatter_said(said, "", said.data)
    said.faults.stop_if_any()
    assert found is not None
    return found
