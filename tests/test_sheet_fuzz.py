"""Whatever a file holds, the answer is a Sheet or one of our own errors."""

import random

from hypothesis import example, given, settings
from hypothesis import strategies as st

from kit import tables
from kit.errors import KitError
from kit.reading import read_sheet
from kit.sheet import Sheet
from kit.sheet.amount import read_amount
from kit.sheet.entries import fields

DEMO = tables.data_path("demo", "demo_frankfurter.toml")
WHOLE = {form: DEMO.with_suffix(f".{form}").read_bytes() for form in ("toml", "csv", "xlsx")}
TOKENS = [
    b"=",
    b"[",
    b"]",
    b"[[line]]",
    b"\n",
    b"\r",
    b'"',
    b"'",
    b",",
    b";",
    b"\t",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"nan",
    b"-1",
    b"1e999",
    b"9" * 400,
    b"true",
    b"2020-01-01",
    b"{a=1}",
    b"%",
    b"kg",
    b" of ",
    b"line",
    b"process",
    b"\xe9",
    "\u202e".encode(),
    "٣".encode(),
    b"part",
    b"name",
    b"#",
    b"\\u0000",
]


def assert_answers(source, name=""):
    """True if the source gave a Sheet, False if it gave one of our errors with a message; anything else fails the test."""
    try:
        sheet = read_sheet(source, name)
    except KitError as error:
        assert str(error)
        return False
    assert isinstance(sheet, Sheet) and sheet.batch_kg > 0
    return True


@given(st.binary(max_size=400), st.sampled_from(["a.toml", "a.csv", "a.xlsx", "a.txt", ""]))
@example(b"PK\x03\x04", "a.xlsx")
def test_random_bytes_are_refused(whole, name):
    assert not assert_answers(whole, name)


@given(st.text(max_size=300), st.sampled_from(["a.toml", "a.csv", ""]))
@settings(max_examples=200)
def test_random_text_is_refused(text, name):
    assert not assert_answers(text, name)


def changed(whole: bytes, chance: random.Random, structured: bool) -> bytes:
    for _ in range(chance.randint(1, 4)):
        at, length = chance.randrange(len(whole)), chance.choice([0, 1, 1, 3, 20, 300])
        put = (
            chance.choice(TOKENS)
            if structured
            else bytes(chance.randrange(256) for _ in range(chance.randint(0, 4)))
        )
        whole = whole[:at] + put + whole[at + length :]
        whole = whole or b"x"
    return whole


@given(st.integers(0, 10**9), st.sampled_from(["toml", "csv"]), st.booleans())
@settings(max_examples=150)
def test_a_demo_changed_at_random_places_is_read_or_refused(seed, form, structured):
    assert_answers(changed(WHOLE[form], random.Random(seed), structured), f"demo.{form}")


@given(st.integers(0, 10**9))
@settings(max_examples=100)
def test_a_damaged_workbook_is_read_or_refused(seed):
    assert_answers(changed(WHOLE["xlsx"], random.Random(seed), False), "demo.xlsx")


def repacked(seed: int) -> bytes:
    """The demo workbook with random changes inside one of its parts, packed so that the damage is not caught by the archive."""
    import io
    import zipfile

    chance, out = random.Random(seed), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(WHOLE["xlsx"])) as before, zipfile.ZipFile(out, "w") as after:
        items = before.infolist()
        hit = chance.choice(
            [item.filename for item in items if "sheet" in item.filename] * 3
            + [item.filename for item in items]
        )
        for item in items:
            data = before.read(item)
            after.writestr(
                item.filename,
                changed(data, chance, chance.random() < 0.5) if item.filename == hit else data,
            )
    return out.getvalue()


@given(st.integers(0, 10**9))
@settings(max_examples=60)
def test_a_workbook_changed_inside_is_read_or_refused(seed):
    assert_answers(repacked(seed), "demo.xlsx")


scalar = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=12),
    st.dates(),
    st.binary(max_size=4),
    st.just(10**400),
    st.just({}),
    st.just([1]),
    st.complex_numbers(),
    st.sampled_from(
        ["5 kg", "5 % of meat", "80/20", "same recipe", "ice", "pork trim 80", "pork", "chop", ","]
    ),
)


def entry(part):
    return st.dictionaries(
        st.one_of(st.sampled_from(sorted(fields(part))), st.text(max_size=5)), scalar, max_size=8
    )


data = st.fixed_dictionaries(
    {},
    optional={
        "name": scalar,
        "rule": scalar,
        "note": scalar,
        "decimal": scalar,
        "odd": scalar,
        "process": st.one_of(entry("process"), scalar),
        **{
            part: st.one_of(st.lists(st.one_of(entry(part), scalar), max_size=4), scalar)
            for part in ("line", "cook", "weighing")
        },
    },
)


@given(data)
@settings(max_examples=200)
def test_random_data_in_the_shape_of_a_sheet_is_read_or_refused(given_data):
    assert_answers(given_data)


@given(
    st.one_of(
        st.text(max_size=20),
        st.builds(
            "{} {} {}".format,
            st.floats(),
            st.sampled_from(
                ["kg", "%", "lb", "g per 5", "/", "oz/", "m", "°C", "**", "kg of", "1 lb", "!"]
            ),
            st.sampled_from(["", "of meat", "of", "of of", "kg", "lb of batch", "4 oz"]),
        ),
    )
)
@settings(max_examples=200)
def test_a_random_amount_is_read_or_refused(text):
    try:
        amount = read_amount(text)
    except KitError as error:
        assert str(error)
    else:
        assert (amount.mass_kg is None) != (amount.pct is None)
        assert read_amount(amount.written) == amount
