"""The page: what it must say, what it must not, and how it is kept."""

import html.parser
import re
from datetime import date

import numpy as np
import pytest
from pencil import assert_pencil

from kit.errors import KitError
from kit.lab.pages.record import as_html
from kit.lethality import cautions, record, trace
from kit.lethality.operating import humidity_words
from kit.lethality.record import traces_of_log
from kit.reading.logs import read_log
from kit.sheet.entries import fields

T = np.arange(0, 10_501, 30.0)
C = np.interp(T, [0, 1200, 3600, 4100, 6300, 8000, 10_500], [12, 33, 49, 70, 76, 15, 3])
BEFORE = date(2022, 12, 13)
"""the last day of the older editions"""
CORES = (trace("core 1", T, C), trace("core 2", T, C - 1))


def page(**more):
    return record(CORES, **{"product": "meat", "cured": True, **more})


class Reader(html.parser.HTMLParser):
    """Which tags and attributes are there, and do they close?"""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.links = [], set(), []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.links += [
            value
            for key, value in attrs
            if key in ("src", "href", "xlink:href") or key.startswith("on")
        ]
        if tag not in ("meta", "line", "rect", "polyline", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if self.open and self.open[-1] == tag:
            self.open.pop()


def test_it_says_that_it_validates_nothing():
    text = as_html(page())
    assert (
        "Sources" in text
        and cautions.VALIDATES_NOTHING in text
        and text.index("validates nothing") < text.index("Cooking: published limits")
    )
    assert not re.search(
        r"\bis safe\b(?<!does not say that a product is safe)|\bvalidated\b|\bcomplies\b|\bcompliant\b|\bapproved\b",
        text,
    )


def test_what_was_understood_stands_before_what_was_compared():
    text = as_html(page(understood=("time: column 'Clock'",)))
    assert text.index("How the log was read") < text.index("Cooking: published limits")


def test_it_names_table_edition_margin_and_what_is_missing():
    text = as_html(page(probe_error_K=0.5))
    for part in (
        "6.5 log",
        "December 2021",
        "margin",
        "P70 above 30 min",
        "chilling is to begin",
        "40 °F",
        "45 °F",
        "from memory",
        "Missing information",
        "come-up, core at 50 to 130 °F: at most 360 min in all",
        "casing (natural, cellulose, collagen, fibrous, plastic): without one,",
        "not read: the cooling guideline of December 2021, and 9 CFR after 2015",
        "superseded for small product",
        "100 ppm ingoing nitrite",
        "probe error 0.5 K: subtracted for cooking, added for cooling",
    ):
        assert part in text, part


def test_html_stands_alone_and_is_escaped():
    r = record(
        (trace("<script>alert(1)</script>", T, C), trace('a"b&c', T, C - 1)),
        "meat",
        cured=True,
        batch="<img src=x>",
        understood=("</ul><script>",),
    )
    read = Reader(as_html(r))
    assert (
        not read.tags & {"script", "img", "link", "iframe", "b", "i"}
        and read.links == []
        and read.open == []
    )
    assert "&lt;script&gt;alert(1)" in as_html(r) and "http" not in as_html(r)


def test_a_probe_that_may_be_wrong_is_judged_against_itself():
    exact, unsure = page(), page(probe_error_K=2.0)
    single = [
        next(f.found for f in r.findings if f.kind == "single temperature") for r in (exact, unsure)
    ]
    assert single == pytest.approx([75, 73])
    p70 = [next(f for f in r.findings if f.kind == "P70").found for r in (exact, unsure)]
    assert p70[1] / p70[0] == pytest.approx(10**-0.2, rel=0.02), (
        "2 K at z = 10 K, but for the floor"
    )
    chill = [r.cooling[-1].found for r in (exact, unsure)]
    assert chill[1] == pytest.approx(chill[0] + 2 / ((15 - 3) / 2500) / 60, abs=1), (
        "a warmer trace reaches 7 °C later, at 12 K in 2500 s"
    )
    assert any("error of the probe" in line for line in exact.missing) and not any(
        "error of the probe" in line for line in unsure.missing
    )


def test_the_colder_channel_speaks_whatever_the_order():
    a, b = record(CORES, "meat", cured=True), record(CORES[::-1], "meat", cured=True)
    assert a.coldest == b.coldest == "core 2" and [f.found for f in a.findings] == [
        f.found for f in b.findings
    ]


def test_poultry_gets_no_meat_table_and_is_told_what_is_missing():
    r = record(CORES, "other poultry", cured=False)
    (hold,) = [f for f in r.findings if "hold" in f.kind]
    assert "chicken and turkey of 12 % fat, 7 log, the longer time" in hold.what and hold.met
    assert any("fat is not given" in line for line in r.missing)
    fat = record(CORES, "chicken", cured=True, fat_pct=18)
    assert any(f.kind == "hold" and "12 % fat" in f.what for f in fat.findings) and any(
        "18 %" in line for line in fat.missing
    )


def test_the_5_log_table_comes_with_its_condition_and_only_where_no_other_is_met():
    assert not any(f.kind == "conditional hold" for f in page().findings)
    cold = record(trace("core", [0, 60, 270, 330], [50, 62.9, 62.9, 40], 300), "meat", cured=True)
    (five,) = [f for f in cold.findings if f.kind == "conditional hold"]
    assert (
        not any(f.met for f in cold.findings if f.kind == "hold")
        and five.met is None
        and five.verdict == "not judged"
        and "only for shelf-stable product" in five.notes[-1]
    )


def test_an_older_record_is_compared_with_the_editions_of_its_day():
    on = date(2022, 12, 13)
    r = page(on=on)
    assert any("1999" in f.published.edition for f in r.findings) and not any(
        "2021" in f.published.edition
        for f in (*r.findings, *r.cooling)
        if f.kind != "single temperature"
    )
    assert any("in one window" in f.what for f in r.cooling) and not any(
        f.kind in ("come-up", "conditional hold") for f in r.findings
    )
    assert any("13 December 2022" in note for note in r.notes)
    old = record(CORES, "other poultry", cured=True, on=on)
    assert not any(f.kind == "hold" for f in old.findings) and any(
        "no time-temperature table" in line for line in old.missing
    )


@pytest.mark.parametrize(
    "casing", ["cellulose", "collagen", "fibrous", "plastic", "natural sheep", "natural hog"]
)
def test_product_in_casing_is_not_asked_for_humidity(casing):
    r = page(casing=casing)
    assert not any(f.kind == "humidity" for f in r.findings) and not any(
        line.startswith("casing") for line in r.missing
    )
    (said,) = [note for note in r.notes if "not required in" in note]
    assert casing in said


def test_product_without_a_casing_is_told_the_humidity_options():
    (said,) = [line for line in page(casing="none").missing if line.startswith("humidity")]
    assert said.count(";") == 3 and "at least 90 % for the whole cook" in said
    assert not any("humidity" in line for line in page(casing="none", on=BEFORE).missing)


def test_every_casing_of_a_sheet_is_known_to_the_record():
    choices = fields("process")["casing"].choices
    for kind in choices:
        missing, (noted,) = humidity_words(kind)
        assert missing == [] and kind in noted


@pytest.mark.parametrize(
    "more, says",
    [
        ({"product": "pork"}, "kind of product 'pork'"),
        ({"casing": "bag"}, "casing 'bag'"),
        ({"nitrite_ppm": -5}, "nitrite_ppm is -5"),
        ({"cured": "yes"}, "say True"),
        ({"probe_error_K": -1}, "probe_error_K is -1"),
        ({"fat_pct": 200}, "fat_pct is 200"),
    ],
)
def test_what_cannot_be_compared_is_told(more, says):
    with pytest.raises(KitError, match=says):
        page(**more)


def test_channels_need_names_of_their_own():
    with pytest.raises(KitError, match="same name"):
        record((CORES[0], CORES[0]), "meat", cured=True)
    with pytest.raises(KitError, match="no channel"):
        record((), "meat", cured=True)


def test_the_working_can_be_redone_and_nothing_is_without_a_source():
    r = page()
    assert_pencil(r.working)
    assert all(f.sources[0] in r.sources for f in (*r.findings, *r.cooling)) and all(r.sources)


LOG = "time;core 1 °F;core 2 °F;house °F\n" + "\n".join(
    f"{int(t) // 3600}:{int(t) % 3600 // 60:02d}:00;{c * 1.8 + 32:.1f};{c * 1.8 + 30:.1f};170.0"
    for t, c in zip(T[::2], C[::2])
)


def test_from_a_log_of_a_logger_to_the_page():
    reading = read_log(LOG)
    with pytest.raises(KitError, match="which of them are cores"):
        traces_of_log(reading)
    cores = traces_of_log(reading, ["core 1 °F", "core 2 °F"])
    assert [c.peak_C for c in cores] == pytest.approx([76, 76 - 2 / 1.8], abs=0.06)
    r = record(cores, "meat", cured=True, understood=reading.understood)
    assert (
        r.coldest == "core 2 °F"
        and any("°F" in line for line in r.understood)
        and "turned to °C" in as_html(r)
    )


def test_the_drawing_keeps_the_peak_of_a_long_log():
    t = np.arange(50_000.0)
    temps = np.full(50_000, 20.0)
    temps[31_234] = 79.0
    text = as_html(record(trace("core", t, temps), "meat", cured=True))
    ys = [
        float(pair.split(",")[1])
        for pair in re.search(r'<polyline points="([^"]+)"', text)[1].split()
    ]
    assert min(ys) < 25 < 75 < max(ys) and len(ys) < 1000
