"""Write down every number that the lessons show, or compare two such files.

    python tests/tools/shown_numbers.py OUT.json [notebooks/NN_name.ipynb ...]
    python tests/tools/shown_numbers.py BEFORE.json AFTER.json

Every notebook's cells are run in this process. Of each panel the numbers are kept at its start, after every preset, with every slider at both
ends, with every choice, in both unit systems, all folds open. Names and words may change between two files; the numbers of a state may not:
those behind a chart agree to 1e-9, those written in tables and sentences to the letter.
"""

import ast
import contextlib
import io
import json
import math
import os
import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WRITTEN = re.compile(r"\d[\d,]*(?:\.\d+)?")


def leaves(value):
    """Every number in nested rows."""
    if isinstance(value, dict):
        for item in value.values():
            yield from leaves(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from leaves(item)
    elif hasattr(value, "tolist"):
        yield from leaves(value.tolist())
    elif isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        yield float(value)


def state(panel) -> dict:
    """What one state of a panel shows, as sorted numbers."""
    if panel.shown is None:
        return {"error": bool(panel.error), "chart": [], "written": []}
    words = [panel.shown.sentence]
    for table in panel.shown.tables:
        with contextlib.suppress(Exception):
            words += [cell for row in table.filled().rows for cell in row.cells]
    return {
        "error": bool(panel.error),
        "chart": sorted(leaves(dict(panel.shown.data))),
        "written": sorted(n for text in words for n in WRITTEN.findall(text)),
    }


def states(panel) -> dict[str, dict]:
    """Every state asked for, named by the order of the controls so that a new label changes nothing."""
    from kit import units
    from kit.lab.panels.panel import Choice, Slider, Switch

    found = {}
    for system in units.SYSTEMS:
        panel.use(system)
        found[f"{system} start"] = state(panel.reset())
    panel.use(units.METRIC)
    for n, preset in enumerate(panel.presets.values()):
        found[f"preset {n}"] = state(panel.reset().set(**preset))
    for n, (key, held) in enumerate(panel.controls.items()):
        spec = held.spec
        tried = (
            (spec.low, spec.high)
            if isinstance(spec, Slider)
            else (not spec.value,)
            if isinstance(spec, Switch)
            else tuple(o[1] if isinstance(o, tuple) else o for o in spec.options)
            if isinstance(spec, Choice)
            else ()
        )
        for m, value in enumerate(tried):
            found[f"control {n} value {m}"] = state(panel.reset().set(**{key: value}))
    panel.reset()
    return found


def run(path: Path) -> dict:
    """One notebook: what it printed, as numbers, and the states of its panels."""
    from kit.lab.panels import panel as module

    made, printed, scope = [], io.StringIO(), {"__name__": "__main__"}
    built = module.Panel.__init__

    def remember(self, *args, **more):
        built(self, *args, **more)
        made.append(self)

    module.Panel.__init__ = remember
    os.chdir(path.parent)
    try:
        with contextlib.redirect_stdout(printed):
            for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
                if cell["cell_type"] != "code":
                    continue
                body = ast.parse("".join(cell["source"])).body
                last = body.pop() if body and isinstance(body[-1], ast.Expr) else None
                exec(compile(ast.Module(body, []), str(path), "exec"), scope)
                if last is not None:
                    shown = eval(compile(ast.Expression(last.value), str(path), "eval"), scope)
                    if shown is not None and not isinstance(shown, module.Panel):
                        print(repr(shown))
    finally:
        module.Panel.__init__ = built
    return {
        "printed": WRITTEN.findall(printed.getvalue()),
        "panels": [states(panel) for panel in made],
    }


def same(a, b) -> str:
    """'' where two states agree, else the first difference in words."""
    if a["error"] != b["error"]:
        return f"error {a['error']} and {b['error']}"
    if len(a["chart"]) != len(b["chart"]):
        return f"{len(a['chart'])} and {len(b['chart'])} numbers behind the charts"
    for x, y in zip(a["chart"], b["chart"], strict=True):
        if not math.isclose(x, y, rel_tol=1e-9, abs_tol=1e-9):
            return f"{x!r} and {y!r} behind a chart"
    if a["written"] != b["written"]:
        return f"written: only before {sorted(set(a['written']) - set(b['written']))[:6]}, only after {sorted(set(b['written']) - set(a['written']))[:6]}"
    return ""


def compare(before: dict, after: dict) -> list[str]:
    """Every difference between two files, in words."""
    found = []
    for name in sorted(before.keys() | after.keys()):
        if name not in before or name not in after:
            found.append(f"{name}: in one file only")
            continue
        a, b = before[name], after[name]
        if a["printed"] != b["printed"]:
            found.append(
                f"{name}: printed numbers differ ({len(a['printed'])} and {len(b['printed'])})"
            )
        if len(a["panels"]) != len(b["panels"]):
            found.append(f"{name}: {len(a['panels'])} and {len(b['panels'])} panels")
        for n, (p, q) in enumerate(zip(a["panels"], b["panels"], strict=False)):
            for key in sorted(p.keys() | q.keys()):
                said = "in one file only" if key not in p or key not in q else same(p[key], q[key])
                if said:
                    found.append(f"{name}: panel {n}, {key}: {said}")
    return found


def main(arguments: list[str]) -> int:
    if len(arguments) == 2 and all(name.endswith(".json") for name in arguments):
        before, after = (json.loads(Path(name).read_text(encoding="utf-8")) for name in arguments)
        found = compare(before, after)
        print(
            "\n".join(found)
            or f"{sum(len(s) for book in before.values() for s in book['panels'])} states of {len(before)} notebooks agree"
        )
        return bool(found)
    out = Path(arguments[0]).resolve()
    chosen = [Path(name).resolve() for name in arguments[1:]] or sorted(
        (ROOT / "notebooks").glob("*.ipynb")
    )
    out.write_text(json.dumps({path.name: run(path) for path in chosen}), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
