"""The house keeps its own rules: arrows, provenance, live tests, a light import, the card at the top."""

import ast
import csv
import math
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kit import tables

ROOT = Path(__file__).resolve().parents[1]
DRAWING = {"altair", "ipywidgets", "anywidget", "vl_convert", "traitlets", "IPython"}
CARD = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "kit",
    "notebooks",
    "data",
    "tests",
    "binder",
}


def tracked(pattern: str = "") -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files", *([pattern] if pattern else [])],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\n")
    return [name for name in listed if name and (ROOT / name).exists()]


def room_order() -> list[str]:
    """The rooms in the order of the list in DEVELOPERS.md."""
    block = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("```")[1]
    return [line.split()[0].rstrip("/") for line in block.strip().splitlines()]


def imports(path: Path) -> set[tuple[str, str]]:
    """(top package, room) of every import in a file, also inside functions; relative imports are refused elsewhere."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = (
                [f"kit.{alias.name}" for alias in node.names]
                if node.module == "kit"
                else [node.module or "."]
            )
        else:
            continue
        for name in names:
            top, _, rest = name.partition(".")
            found.add((top, rest.split(".")[0]))
    return found


def rooms() -> list[tuple[str, Path]]:
    return [
        (path.relative_to(ROOT / "kit").parts[0].removesuffix(".py"), path)
        for path in sorted((ROOT / "kit").rglob("*.py"))
    ]


def test_every_room_is_in_the_list_of_rooms():
    built = {room for room, _ in rooms()} - {"__init__", "__main__"}
    assert built - set(room_order()) == set(), "a room is missing from the list in DEVELOPERS.md"


def test_arrows_run_one_way():
    place = {room: n for n, room in enumerate(room_order())}
    wrong = [
        f"{path.relative_to(ROOT)} imports kit.{other}"
        for room, path in rooms()
        if room in place
        for top, other in imports(path)
        if top == "kit" and other in place and place[other] > place[room]
    ]
    assert wrong == []


def file_imports() -> dict[str, set[str]]:
    """module -> modules of the kit that it imports, anywhere in the file but for the type checker alone; a package stands for its __init__."""
    names = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for path in (ROOT / "kit").rglob("*.py")
    }
    found = {}
    for name, path in names.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
                node.body = []
        wanted = set()
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                inside = (f"{node.module}.{alias.name}" for alias in node.names)
                wanted |= {one if one in names else node.module for one in inside}
            elif isinstance(node, ast.Import):
                wanted |= {alias.name for alias in node.names}
        found[name] = {other for other in wanted if other in names} - {name}
    return found


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of more than one node that reach each other."""
    nodes, edges = list(graph), [(a, b) for a, others in graph.items() for b in others]
    place = {node: n for n, node in enumerate(nodes)}
    matrix = coo_array(
        (np.ones(len(edges)), ([place[a] for a, _ in edges], [place[b] for _, b in edges])),
        shape=(len(nodes), len(nodes)),
    )
    count, label = connected_components(matrix, directed=True, connection="strong")
    groups = [[nodes[n] for n in np.flatnonzero(label == k)] for k in range(count)]
    return [group for group in groups if len(group) > 1]


def test_no_file_imports_itself_round_a_corner():
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    assert circles(file_imports()) == []


def test_core_rooms_draw_nothing():
    wrong = [
        f"{path.relative_to(ROOT)} imports {top}"
        for room, path in rooms()
        if room != "lab"
        for top, _ in imports(path)
        if top in DRAWING
    ]
    assert wrong == []


def test_import_kit_is_light():
    """Only the standard library: numpy, pandas, altair and widgets come when a room is used."""
    said = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys, kit; print(*sorted({'numpy','pandas','scipy','altair','pint','ipywidgets'} & set(sys.modules)))",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert said == []


def test_the_top_level_is_the_card():
    assert {name.split("/")[0] for name in tracked() if not name.startswith(".")} == CARD


def test_every_number_has_a_source_a_status_and_bounds():
    assert len(tables.numbers()) > 20
    wrong = []
    for name, row in tables.numbers().items():
        if row.source not in tables.sources():
            wrong.append(f"{name}: source {row.source!r} is not in sources.csv")
        if row.status not in tables.STATUSES:
            wrong.append(f"{name}: status {row.status!r}")
        if not row.low <= row.value <= row.high:
            wrong.append(f"{name}: {row.value} lies outside {row.low} to {row.high}")
        if row.low == row.high and row.status not in ("computed", "read", "quoted"):
            wrong.append(f"{name}: bounds leave no doubt, but the status is {row.status}")
        if not row.unit:
            wrong.append(f"{name}: no unit (write 1 for a pure number)")
    assert wrong == []


def test_no_number_has_two_homes():
    names = [
        row["name"]
        for path in sorted((ROOT / "data" / "reference").glob("*.csv"))
        if path.name != "sources.csv"
        for row in csv.DictReader(path.open(encoding="utf-8", newline=""))
    ]
    assert sorted(set(names)) == sorted(names)


def mantissa(number: float) -> float:
    return abs(number) / 10 ** math.floor(math.log10(abs(number))) if number else 0.0


@pytest.mark.parametrize(
    "digits, homes",
    [(4.5359237, 1), (2.2046226, 0), (2.8349523, 1), (5.8443, 1), (1.4826, 1)],
    ids=[
        "pound",
        "pounds to a kilogram",
        "ounce",
        "molar mass of salt",
        "standard deviations to a median absolute deviation",
    ],
)
def test_a_constant_has_one_home_by_value(digits, homes):
    """Whatever it is called and whatever its power of ten: so many rows of data/reference, and no literal in the code."""
    rows = [
        row["name"]
        for path in sorted((ROOT / "data" / "reference").glob("*.csv"))
        if path.name != "sources.csv"
        for row in csv.DictReader(path.open(encoding="utf-8", newline=""))
        if math.isclose(mantissa(float(row["value"])), digits, rel_tol=2e-4)
    ]
    assert len(rows) == homes, rows
    written = [
        f"{path.name}: {text}"
        for _, path in rooms()
        for text in re.findall(r"(?<![\w.])\d+\.\d{2,}(?![\w.])", path.read_text(encoding="utf-8"))
        if len(text.replace(".", "").lstrip("0")) >= 4
        and math.isclose(mantissa(float(text)), digits, rel_tol=2e-4)
    ]
    assert written == []


def test_every_source_is_used_and_every_data_row_names_a_known_one():
    keys = set(tables.sources())
    assert len(keys) == len(
        list(
            csv.DictReader(
                (ROOT / "data" / "reference" / "sources.csv").open(encoding="utf-8", newline="")
            )
        )
    )
    used, unknown = set(), []
    stored = (ROOT / "data", ROOT / "tests" / "published" / "data")
    for path in sorted(path for folder in stored for path in folder.rglob("*.csv")):
        for row in csv.DictReader(path.open(encoding="utf-8", newline="")):
            if row.get("source"):
                used.add(row["source"])
                if row["source"] not in keys and "status" in row:
                    unknown.append(f"{path.relative_to(ROOT)}: {row['source']}")
    code = "\n".join(path.read_text(encoding="utf-8") for _, path in rooms())
    used |= {key for key in keys if re.search(rf"[\"']{re.escape(key)}[\"']", code)}
    assert unknown == []
    assert keys - used == set(), "sources that nothing cites"


@pytest.mark.parametrize(
    "name",
    [
        name
        for name in tracked("tests")
        if Path(name).name.startswith(("test_", "lab_checks")) and name.endswith(".py")
    ],
)
def test_no_test_is_dead(name):
    """Every test holds an assert, a raises, or a call of a helper whose name begins with assert_."""
    for node in ast.walk(ast.parse((ROOT / name).read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            alive = any(
                isinstance(inner, ast.Assert)
                or (
                    isinstance(inner, ast.Call)
                    and _called(inner).startswith(("raises", "warns", "assert_", "expect"))
                )
                for inner in ast.walk(node)
            )
            assert alive, f"{name}:{node.lineno} {node.name} asserts nothing"


def _called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def test_nothing_committed_knows_this_or_that_machine():
    machine = re.compile(
        r"(?:^|[\s\"'(=])/(?:wo"
        + r"rk|ro"
        + r"ot|ho"
        + r"me)/|--index"
        + r"-url|--extra-index"
        + r"-url|--reg"
        + r"istry[= ]"
    )
    found = []
    for name in tracked():
        path = ROOT / name
        if path.suffix in (".png", ".xlsx", ".parquet"):
            continue
        for n, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if machine.search(line):
                found.append(f"{name}:{n}")
    assert found == []


MOST_LINES = {"library": 31_800, "reading": 7_350, "lab": 17_300}
"""as formatted; they may go down, and up only by what a change names"""
MOST_IN_A_FILE, MOST_CHARACTERS = 400, 2_250_000
LONGER = ()
"""files that are longer all the same"""


def test_the_kit_keeps_its_budget():
    lines, characters, long = Counter(), 0, []
    for room, path in rooms():
        text = path.read_text(encoding="utf-8")
        count = len(text.splitlines())
        lines[room if room in MOST_LINES else "library"] += count
        characters += len(text)
        if count > MOST_IN_A_FILE:
            long.append(path.relative_to(ROOT / "kit").as_posix())
    assert {layer: n for layer, n in lines.items() if n > MOST_LINES[layer]} == {}
    assert characters <= MOST_CHARACTERS
    assert sorted(set(long) - set(LONGER)) == []
