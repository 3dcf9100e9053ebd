"""A file appears whole or not at all, over no other unasked; a text cell that could be run stands behind an apostrophe."""

import os
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import KitError
from kit.files import RISKY, guarded, put, toml_lines, unguarded

TOML_VALUES = st.recursive(
    st.text(st.characters(codec="utf-8"))
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=8,
)


def test_written_whole_and_over_nothing_unless_told(tmp_path):
    target = put(tmp_path / "a.csv", "één", (".csv",))
    assert target.read_bytes() == "één".encode()
    with pytest.raises(KitError, match="left as it is; choose another name, or say overwrite=True"):
        put(target, b"other")
    with pytest.raises(KitError, match="left as it is; choose another name$"):
        put(target, b"other", overwrite=None)
    assert target.read_bytes() == "één".encode()
    assert put(target, b"other", overwrite=True).read_bytes() == b"other" and os.listdir(
        tmp_path
    ) == ["a.csv"]


def test_a_disk_that_fills_leaves_what_was_there_and_no_draft(tmp_path, monkeypatch):
    target = put(tmp_path / "a.csv", b"before")
    monkeypatch.setattr(
        os, "fsync", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(KitError, match="No space left"):
        put(target, b"after", overwrite=True)
    assert target.read_bytes() == b"before" and os.listdir(tmp_path) == ["a.csv"]


def test_a_place_or_name_that_cannot_be_is_told(tmp_path):
    with pytest.raises(KitError, match="end the name with .csv or .html"):
        put(tmp_path / "a.pdf", b"", (".csv", ".html"))
    with pytest.raises(KitError, match="end the name with .csv, .xlsx or .html"):
        put(tmp_path / "a.pdf", b"", (".csv", ".xlsx", ".html"))
    with pytest.raises(KitError, match="folder exists"):
        put(tmp_path / "none" / "a.csv", b"")
    (tmp_path / "a.csv").mkdir()
    with pytest.raises(KitError, match="a.csv could not be written"):
        put(tmp_path / "a.csv", b"", overwrite=True)


@pytest.mark.skipif(os.name == "nt", reason="modes of files are of another kind there")
def test_others_may_read_what_the_person_lets_them(tmp_path):
    mask = os.umask(0o022)
    try:
        assert put(tmp_path / "a.csv", b"").stat().st_mode & 0o777 == 0o644
    finally:
        os.umask(mask)


@given(
    st.text(max_size=8)
    | st.sampled_from(("=1+1", "'=1", "''=1", "'", "-3 °C", "'quoted'", "@x", "\tx"))
)
def test_a_guarded_text_runs_nowhere_and_comes_back(text):
    assert not guarded(text).startswith(RISKY)
    assert unguarded(guarded(text)) == text


@given(st.dictionaries(st.from_regex(r"[A-Za-z0-9_-]{1,8}", fullmatch=True), TOML_VALUES))
def test_what_is_written_as_toml_is_read_back_by_the_standard_library(held):
    assert tomllib.loads(toml_lines(held)) == held
    assert tomllib.loads(toml_lines({"of": held})) == {"of": held}
