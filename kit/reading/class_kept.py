"""What a class leaves behind: its tubes in one table (merged.csv), which sets the levels of lesson 04, and its scatter (scatter.toml), for the power of the next class."""

import csv
import io
from pathlib import Path

from kit.classroom.codes import code
from kit.classroom.results import ClassResults
from kit.emulsion.batter import NUMBERS
from kit.errors import KitError
from kit.faults import Faults
from kit.files import guarded, number_text, put
from kit.reading.class_plan import _FILE, _entries, _Said, scatter_entries
from kit.reading.opener import load, toml_of
from kit.reading.sheets import _rows
from kit.reading.tubes import OF_CLASS
from kit.trial.scatter import ClassScatter

SCATTER_KIND = "class scatter"


def merged_csv(results: ClassResults) -> str:
    """Every tube of the class after the decisions, with the whole batter of its level: a table that lesson 04 reads. KitError while a finding is open."""
    if results.open:
        keys = ", ".join(one.key for one in results.open[:3])
        raise KitError(
            f"{len(results.open)} findings are not decided yet, such as {keys}; decide them first"
        )
    plan, out = results.plan, io.StringIO()
    question = plan.question
    treatment = {(u.station, u.batter): question.treatments[u.treatment] for u in plan.design.units}
    table = csv.writer(out, lineterminator="\n")
    table.writerow((*OF_CLASS, "note", *NUMBERS))
    for t in results.tubes:
        its = treatment[t.station, t.batter]
        batter = question.batter_at(its)
        words = ", ".join(f"{one.label} {one.words(x)}" for one, x in zip(question.factors, its))
        loss = number_text(t.loss_pct) if t.whole and t.net_g > 0 else ""
        weights = (_number(one) for one in (t.empty_g, t.filled_g, t.after_g))
        place = (
            plan.fingerprint,
            code(*t.key),
            t.station,
            t.batter,
            t.tube,
            words,
            question.response,
        )
        read = (*weights, loss, _number(t.fold), _number(t.depth_mm), guarded(t.note))
        table.writerow((*place, *read, *(number_text(float(getattr(batter, n))) for n in NUMBERS)))
    return out.getvalue()


def _number(value: float | None) -> str:
    return "" if value is None else number_text(value)


def write_merged(results: ClassResults, path, overwrite: bool = False) -> Path:
    """Write merged.csv, whole or not at all."""
    return put(path, merged_csv(results), (".csv",), overwrite)


def write_scatter(its: ClassScatter, path, overwrite: bool = False) -> Path:
    """Write scatter.toml, whole or not at all."""
    return put(path, _entries({"kind": SCATTER_KIND} | scatter_entries(its)), (".toml",), overwrite)


def read_scatter(source) -> ClassScatter:
    """The scatter that an earlier class left: a path (.toml), TOML text or bytes. Faulty with every fault at once."""
    whole, name = load(source, "the given text", _FILE)
    faults = Faults(name, f"The scatter in {name} cannot be used")
    data, text, _ = toml_of(whole, faults)
    if data.pop("kind", None) != SCATTER_KIND:
        faults.stop("this is no scatter of a class", remedy=f'begin with kind = "{SCATTER_KIND}"')
    rows = {("scatter", n, key): row for (table, n, key), row in _rows(text).items() if not table}
    found = _Said(faults, rows).scatter(data)
    faults.stop_if_any()
    assert found is not None
    return found
