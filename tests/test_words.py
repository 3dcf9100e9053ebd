"""Every string that can be shown uses the words of the glossary.

Banned are the patterns of data/words/terms.csv (column `instead_of`) and those of tests/wording.csv, which belong to no term.
"""

import ast
import csv
import io
import json
import re
import tokenize
from bisect import bisect_right
from functools import cache
from itertools import accumulate
from pathlib import Path

import pytest

from kit.lab.words import terms

ROOT = Path(__file__).resolve().parents[1]
NOT_PROSE = {"key", "source", "citation", "where", "word", "pattern", "formula"}
"""columns of data that hold keys, titles of other people's texts, or words that a reader must recognise"""
NOT_OURS = ("data/demo/", "data/words/headers", "data/words/terms", "data/records/words.csv")
"""files that hold what a person wrote, or the list itself"""
STILL = {"kit/lab": 0, "notebooks": 0, "kit": 0, "data": 0, "*.md": 0}
"""phrases still to be replaced, by tree; these numbers only fall"""


@cache
def banned() -> tuple[tuple[re.Pattern, str], ...]:
    """(pattern, what to write)."""
    with (ROOT / "tests" / "wording.csv").open(encoding="utf-8", newline="") as handle:
        more = [(row["instead_of"], row["write"]) for row in csv.DictReader(handle)]
    rows = [(one.instead_of, one.term) for one in terms() if one.instead_of] + more
    return tuple(
        (re.compile(rf"(?<![^\W\d_])(?:{bad})(?!\w)", re.I | re.M), write) for bad, write in rows
    )


def phrases(texts: list[str]) -> list[tuple[int, str, str]]:
    """(place of the text in the list, phrase, what to write) of every banned phrase."""
    plain = [re.sub(r"\{[^}]*\}", "{}", re.sub(r"\s+", " ", text)) for text in texts]
    ends = list(accumulate(len(text) + 1 for text in plain))
    whole = "\n".join(plain)
    return sorted(
        (bisect_right(ends, hit.start()), hit.group(), write)
        for pattern, write in banned()
        for hit in pattern.finditer(whole)
    )


def is_key(text: str) -> bool:
    """A key, a file name or a regular expression."""
    plain = re.fullmatch(r"[\w./:-]*", text) is not None
    return "\\b" in text or (plain and ("_" in text or "." in text[1:]))


def strings_of(code: str, docstrings: bool = True):
    """(line, text) of every string of a Python file that may be shown: no keys, no docstring of a private function."""
    tree = ast.parse(code)
    hidden = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Dict):
            hidden |= {id(key) for key in node.keys}
        elif isinstance(node, ast.Subscript):
            hidden |= {id(part) for part in ast.walk(node.slice)}
        elif isinstance(node, ast.Compare):
            hidden |= {id(part) for one in (node.left, *node.comparators) for part in ast.walk(one)}
        elif isinstance(node, (ast.FunctionDef, ast.ClassDef)) and node.name.startswith("_"):
            first = node.body[0]
            if isinstance(first, ast.Expr):
                hidden.add(id(first.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            hidden |= {id(part) for part in node.values}
            yield (
                node.lineno,
                "".join(
                    part.value if isinstance(part, ast.Constant) else "{}" for part in node.values
                ),
            )
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in hidden
        ) and not is_key(node.value):
            yield node.lineno, node.value


def shown(path: Path):
    """(line, text) of every text of a file that may be shown."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".py":
        yield from strings_of(text)
    elif path.suffix == ".html":
        plain = re.sub(r"<style>.*?</style>|<[^>]*>|\[\[.*?\]\]", " ", text, flags=re.S)
        yield from enumerate(plain.split("\n"), 1)
    elif path.suffix == ".md":
        yield from enumerate(text.split("\n"), 1)
    elif path.suffix == ".csv":
        reader = csv.DictReader(io.StringIO(text))
        for row in reader:
            for column, cell in row.items():
                if cell and column not in NOT_PROSE and not is_key(cell):
                    yield reader.line_num, cell
    elif path.suffix == ".ipynb":
        for n, cell in enumerate(json.loads(text)["cells"]):
            yield from ((n, words) for words in cell_texts(cell))


def cell_texts(cell: dict):
    """Markdown, comments and strings of code, and stored words of a cell."""
    source = "".join(cell["source"])
    if cell["cell_type"] == "markdown":
        yield source
        return
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type in (tokenize.COMMENT, tokenize.STRING) and not is_key(token.string):
            yield token.string
    for output in cell.get("outputs", ()):
        data = output.get("data", {})
        yield "".join(output.get("text", ()))
        for kind in ("text/plain", "text/markdown", "text/html"):
            yield re.sub(r"<[^>]*>", " ", "".join(data.get(kind, ())))


def found_in(path: Path) -> list[str]:
    name, texts = path.relative_to(ROOT).as_posix(), list(shown(path))
    return [
        f"{name}:{texts[n][0]} {phrase!r}: write {write!r}"
        for n, phrase, write in phrases([text for _, text in texts])
    ]


def tree_of(name: str) -> str:
    return next(
        (tree for tree in ("kit/lab", "notebooks", "kit", "data") if name.startswith(tree + "/")),
        "*.md",
    )


@cache
def every() -> dict[str, list[str]]:
    """Every banned phrase, by tree."""
    found: dict[str, list[str]] = {tree: [] for tree in STILL}
    paths = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    for folder, end in (("kit", "py"), ("kit", "html"), ("data", "csv"), ("notebooks", "ipynb")):
        paths += sorted((ROOT / folder).rglob(f"*.{end}"))
    for path in paths:
        name = path.relative_to(ROOT).as_posix()
        if not name.startswith(NOT_OURS) and ".ipynb_checkpoints" not in name:
            found[tree_of(name)] += found_in(path)
    return found


@pytest.mark.parametrize("tree", list(STILL))
def test_no_banned_phrase_is_shown(tree):
    found = every()[tree]
    assert len(found) <= STILL[tree], "\n".join(found)


def test_a_banned_phrase_would_be_seen(tmp_path):
    """In code, data, prose and a notebook: a planted phrase is found, its standard word and its neighbours are not."""
    code = 'def f(x):\n    """Cook yield."""\n    d = {"doubt": x["doubt"]}\n    return f"{x} points: the smokehouse"\n'
    assert phrases([text for _, text in strings_of(code)]) == [(1, "} points", "percentage points")]
    cell = {
        "cell_type": "code",
        "source": ["x = 1  # the doubt"],
        "outputs": [{"text": ["in the house"]}],
    }
    found = phrases(list(cell_texts(cell)))
    assert [(phrase, write) for _, phrase, write in found] == [
        ("doubt", "uncertainty"),
        ("house", "smokehouse"),
    ]
    table = tmp_path / "x.csv"
    table.write_text("key,note\nthe_books,the books do not close\n", encoding="utf-8")
    page = tmp_path / "x.html"
    page.write_text("<p class='doubt'>[[plan.doubt]]: the books</p>", encoding="utf-8")
    for path in (table, page):
        said = {phrase for _, phrase, _ in phrases([text for _, text in shown(path)])}
        assert said == {"the books"}
    assert (
        phrases(["textbooks; 3 percentage points; 12 points are out of control; water-holding"])
        == []
    )


def test_terms_are_whole():
    names = [one.term for one in terms()]
    assert len(names) == len(set(names)) > 100
    assert all(one.meaning.endswith(".") and one.source for one in terms())
    own = {one.term: phrases([one.term, one.meaning, one.unit]) for one in terms()}
    assert {term: found for term, found in own.items() if found} == {}, "a term in banned words"
