"""The house keeps its own rules: arrows, provenance, live tests, a light import, the card at the top."""

import ast
import csv
import inspect
import re
import subprocess
import sys
from collections import Counter, defaultdict
from functools import cache
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

import kit
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


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def imports(path: Path) -> set[tuple[str, str]]:
    """(top package, room) of every import in a file, also inside functions; relative imports are refused elsewhere."""
    found = set()
    for node in nodes(path):
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


@cache
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


ALIKE = (
    {"cook_water_density_1", "myoglobin_g_per_mol"},  # by chance
    {"sugar_molar_mass", "h2o_g_per_mol"},  # by chance: dextrose is ten times water
    {"ice_latent_heat", "chen_latent_heat"},  # Chen's equation is printed with its own
)
"""rows that share their first four digits all the same"""
LITERALS = {2.7315: "kit/cook/moist_air.py"}
"""numbers that stand in the code: 0 °C in kelvin is exact by definition"""


def significant(text: str) -> int:
    """Digits that say something: 0.0100 has one, 1.4826 five, 1000 one."""
    return len(text.lower().split("e")[0].replace(".", "").replace("_", "").strip("0+-"))


def rows_by_digits() -> dict[float, list[str]]:
    """Reference rows of 4 or more significant digits by the first four: two homes may be rounded differently."""
    found = defaultdict(list)
    for path in sorted((ROOT / "data" / "reference").glob("*.csv")):
        if path.name != "sources.csv":
            for row in csv.DictReader(path.open(encoding="utf-8", newline="")):
                if significant(row["value"]) >= 4:
                    found[digits_of(float(row["value"]), 4)].append(row["name"])
    return found


def literals() -> dict[float, list[str]]:
    """The same of the decimals in the code: of 5 digits, and of 4 where they are a row's."""
    found, rows = defaultdict(list), rows_by_digits()
    for _, path in rooms():
        for node in nodes(path):
            if isinstance(node, ast.Constant) and isinstance(node.value, float):
                digits = digits_of(node.value, 5)
                many = significant(repr(node.value))
                if many >= 5 or (many == 4 and digits in rows):
                    found[digits].append(path.relative_to(ROOT).as_posix())
    return found


def digits_of(number: float, count: int) -> float:
    """The first digits, as a number from 1 to 10."""
    return float(f"{abs(number):.{count - 1}e}".split("e")[0])


def test_a_constant_has_one_home_by_value():
    """Whatever it is called, however it is rounded and whatever its power of ten."""
    alike = [set(names) for names in rows_by_digits().values() if len(names) > 1]
    assert [names for names in alike if names not in ALIKE] == []
    assert [names for names in ALIKE if names not in alike] == [], "an exception nothing needs"
    assert {digits: place for digits, (place, *more) in literals().items()} == LITERALS, (
        "a number with a meaning is a row of data/reference"
    )
    assert all(len(places) == 1 for places in literals().values())


def test_two_homes_of_a_constant_would_be_seen():
    assert significant("0.0180153") == significant("18.0153") == 6 and significant("1000.0") == 1
    assert digits_of(453.59237, 4) == digits_of(0.45359, 4) == 4.536


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
        if Path(name).name.startswith("test_") and name.endswith(".py")
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


MOST_LINES = {"library": 27948, "reading": 7034, "lab": 17510}
"""as formatted; they may go down, and up only by what a change names. Class experiments hold 7,084 of these."""
MOST_IN_A_FILE, MOST_CHARACTERS = 400, 2249052
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


def test_no_class_name_stands_for_two_things():
    homes = defaultdict(list)
    for _, path in rooms():
        for node in nodes(path):
            if isinstance(node, ast.ClassDef):
                homes[node.name].append(path.relative_to(ROOT).as_posix())
    two = {name: places for name, places in homes.items() if len(places) > 1}
    assert two == {}


MOST_PUBLIC = 53


def faces() -> dict[str, list]:
    """Public functions by room, in the order of `__all__`; "kit" is the kit's own face. The lab is no library."""
    packages = sorted(
        path.parent.name
        for path in (ROOT / "kit").glob("*/__init__.py")
        if path.parent.name != "lab"
    )
    found = {}
    for room in ("kit", *packages):
        face = kit if room == "kit" else import_module(f"kit.{room}")
        public = [getattr(face, name) for name in getattr(face, "__all__", ())]
        found[room] = [one for one in public if inspect.isfunction(one)]
    return found


def untold(function) -> list[str]:
    """What its docstring does not say: each parameter on a line of its own, what it returns, what it raises, its source."""
    lines = (inspect.getdoc(function) or "").splitlines()
    missing = [
        name
        for name in inspect.signature(function).parameters
        if not any(re.match(rf"\s*\**{re.escape(name)}( \([^)]*\))?: \S", line) for line in lines)
    ]
    code = ast.walk(ast.parse(inspect.cleandoc("\n" + inspect.getsource(function))))
    raises = any(
        isinstance(node, ast.Raise)
        or (isinstance(node, ast.Call) and _called(node).startswith("need"))
        for node in code
    )
    for word in ("Returns", *(["Raises"] if raises else []), "Source"):
        if not any(re.match(rf"\s*{word}s?\b:? \S", line) for line in lines):
            missing.append(word)
    return missing


def test_public_functions_tell_every_parameter():
    for room, public in faces().items():
        face = kit if room == "kit" else import_module(f"kit.{room}")
        assert hasattr(face, "__all__"), f"{room} says not what is public: write __all__"
        silent = {one.__qualname__: untold(one) for one in public}
        assert {name: missing for name, missing in silent.items() if missing} == {}


def test_public_functions_are_few():
    done = {one for public in faces().values() for one in public}
    assert len(done) > 30
    assert len(done) <= MOST_PUBLIC, sorted(one.__qualname__ for one in done)


def test_readme_lists_every_public_function():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = text[text.index("| question | call") : text.index("## Cautions")]
    missing = [
        one.__qualname__
        for public in faces().values()
        for one in public
        if f"{one.__qualname__}(" not in table
    ]
    assert missing == []


def test_an_untold_parameter_would_be_seen():
    def told(mass_kg, *, share_pct=1.0):
        """Say it.

        mass_kg: kilograms, over 0.
        share_pct: % of it.
        Returns kilograms.
        Raises ValueError below 0.
        Source: arithmetic.
        """
        if mass_kg < 0:
            raise ValueError
        return mass_kg * share_pct / 100

    def silent(mass_kg, share_pct):
        """mass_kg and share_pct give kilograms."""
        if mass_kg < 0:
            raise ValueError
        return mass_kg * share_pct / 100

    assert untold(told) == []
    assert untold(silent) == ["mass_kg", "share_pct", "Returns", "Raises", "Source"]


def test_the_worked_result_of_readme_is_what_the_kit_says():
    from datetime import date

    shown = (ROOT / "README.md").read_text(encoding="utf-8").split("**A worked result.**")[1]
    sheet = kit.read_sheet(tables.data_path("demo", "demo_frankfurter.toml"))
    said = str(kit.follow(sheet, on=date(2026, 11, 1))).splitlines()
    lines = shown.split("```")[1].strip().splitlines()
    assert len(lines) == 5
    assert [line for line in lines if not any(one.startswith(line) for one in said)] == []


def test_readme_is_short_and_begins_with_the_job():
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert len(lines) < 180 and lines[2].startswith("Cold Batter is ")
