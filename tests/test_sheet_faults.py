"""Every fault of a sheet: told at once, with its place, the value, why, and what to try."""

import io
import zipfile

import pytest
from openpyxl import Workbook

from kit.errors import Faulty, KitError
from kit.reading import read_sheet

MEAT = 'kind = "meat"\nname = "pork trim 80"\namount = "50 kg"\n'
HEAD = "kind,name,amount,unit"


def faults_of(source, name=""):
    with pytest.raises(Faulty) as caught:
        read_sheet(source, name)
    assert all(fault.what for fault in caught.value.faults)
    return caught.value.faults


def toml_line(text, top=""):
    """Faults of a TOML sheet with one good meat and one line of this text."""
    return faults_of(f"{top}[[line]]\n{MEAT}[[line]]\n{text}", "mine.toml")


def csv_of(*rows, header=HEAD):
    return faults_of("\n".join([header, *rows]), "mine.csv")


def workbook(rows, title="line", tweak=None):
    book = Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    if tweak:
        tweak(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


GRID = [
    ["name", "amount", "unit", "temperature_C"],
    ["pork trim 80", 50, "kg", 2],
    ["ice", 10, "kg", -2],
]


def xlsx(tweak=None, rows=GRID, title="line"):
    return faults_of(workbook(rows, title, tweak), "mine.xlsx")


# --- one line, one fault -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, words",
    [
        ('name = "pork trimm 50"\namount = "1 kg"', ["pork trimm 50", "pork trim 50", "nearest"]),
        ('name = "ice"\namount = "-5 kg"', ["-5 kg", "negative"]),
        ('name = "ice"\namount = "0 kg"', ["0 kg", "zero", "leave the line out"]),
        ('name = "ice"\namount = "9e9 kg"', ["9e+09", "100000", "check the unit"]),
        ('name = "ice"\namount = "5 °C"', ["5 °C", "another kind", "mass"]),
        ('name = "ice"\namount = "5"', ["no unit", "'25 kg'"]),
        ('name = "ice"\namount = 5', ["no unit", "'25 kg'"]),
        ('name = "ice"\namount = "5 %"', ["a share of what", "of meat", "of batch"]),
        ('name = "ice"\namount = "5 % of finished"', ["finished", "shares of meat and of batch"]),
        ('name = "ice"\namount = "105 % of meat"', ["105 %", "over 100 %"]),
        ('name = "ice"\namount = "2,500 kg"', ["2,500 kg", "1.5 or 1500", "decimal = ','"]),
        ('name = "ice"\namount = true', ["true", "yes or no"]),
        ('name = "ice"\namount = 2020-01-01', ["date", "2020-01-01"]),
        ('name = "ice"\namount = ["5 kg"]', ["table or list"]),
        ('name = "ice"\namount = {kg = 5}', ["table or list"]),
        ('name = "ice"\namount = nan', ["nan", "finite"]),
        ('name = "ice"', ["amount is missing"]),
        ('amount = "5 kg"', ["name is missing"]),
        ('name = ""\namount = "5 kg"', ["name is missing"]),
        ('name = 5\namount = "5 kg"', ["number 5", "text"]),
        ('name = "Pork Trim 80"\namount = "5 kg"', ["stands twice", "row 3", "material"]),
        ('name = "ice"\namount = "5 kg"\ntemprature_C = 5', ["temprature_C", "temperature_C"]),
        ('name = "ice"\namount = "5 kg"\ntemperature_C = 500', ["500", "-60 and 100 °C"]),
        ('name = "ice"\namount = "5 kg"\ntemperature_C = inf', ["inf", "finite"]),
        (
            'name = "ice"\namount = "5 kg"\ntemperature_C = "cold"',
            ["cold", "text in place of a number"],
        ),
        ('name = "ice"\namount = "5 kg"\ntemperature_C = "5"', ["the text '5'", "quotes"]),
        ('name = "ice"\namount = "5 kg"\ntemperature_C = "5 kg"', ["5 kg", "temperature"]),
        ('name = "ice"\namount = "5 kg"\ntemperature_C = false', ["yes or no"]),
        ('name = "ice"\namount = "5 kg"\npH = 14', ["14", "3 and 10"]),
        ('name = "ice"\namount = "5 kg"\npH = "7 g"', ["takes no unit"]),
        (
            'name = "ice"\namount = "5 kg"\nprice_per_kg = "3 bananas"',
            ["no price per weight", "per lb"],
        ),
        ('name = "ice"\namount = "5 kg"\nprice_per_kg = -1', ["-1", "0 and 100000 per kg"]),
        (
            'name = "ice"\namount = "5 kg"\nkind = "snow"',
            ["snow", "write one of: meat, water, ice"],
        ),
        ('name = "ice"\namount = "5 kg"\nkind = "binder"', ["binder", "'ice' is of kind 'ice'"]),
        ('name = "ice"\namount = "5 kg"\nspecies = "pork"', ["species is 'pork'"]),
        (
            'name = "ice"\namount = "5 kg"\nform = "sodium ascorbate"',
            ["compound", "accelerator and phosphate"],
        ),
        ('name = "ice"\namount = "5 kg"\nnitrite_pct = 6', ["nitrite", "kind"]),
        ('name = "bell\\u0007"\namount = "5 kg"', ["cannot be seen", "U+0007"]),
        ('name = "turn\\u202Eed"\namount = "5 kg"', ["cannot be seen", "U+202E"]),
        ('name = "two\\nlines"\namount = "5 kg"', ["more than one line"]),
        (f'name = "{"x" * 201}"\namount = "5 kg"', ["201 characters", "200"]),
        ('name = "mine"\namount = "5 kg"\nlean = "80/30"\nspecies = "pork"', ["80/30", "100"]),
        ('name = "mine"\namount = "5 kg"\nlean = "80/20"', ["needs its species"]),
        ('name = "mine"\namount = "5 kg"\nlean = "80/20"\nspecies = "prok"', ["prok", "pork"]),
        ('name = "mine"\namount = "5 kg"\nlean = 80\nspecies = "pork"', ["the number 80", "text"]),
        (
            'name = "mine"\namount = "5 kg"\nfat_low_pct = 18\nspecies = "pork"',
            ["both fat_low_pct and fat_high_pct"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nfat_low_pct = 28\nfat_high_pct = 18\nspecies = "pork"',
            ["28 to 18"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nmoisture_pct = 80\nprotein_pct = 30\nfat_pct = 20\nspecies = "pork"',
            ["moisture + protein + fat", "must lie between"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nmoisture_pct = 60\nfat_pct = 20\nspecies = "pork"',
            ["protein_pct missing"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nmoisture_pct = 60\nprotein_pct = 18\nfat_pct = 20',
            ["needs its kind"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nlean = "80/20"\nmoisture_pct = 60\nspecies = "pork"',
            ["in 2 ways", "keep one"],
        ),
        (
            'name = "mine"\namount = "5 kg"\nlean = "80/20"\nkind = "binder"\nspecies = "pork"',
            ["for meat", "binder"],
        ),
        (
            'name = "cure"\namount = "250 g"\nkind = "cure"\nmaterial = "curing salt 6.25 %"',
            ["without its strength", "never guessed"],
        ),
        ('name = "cure"\namount = "250 g"\nnitrite_pct = 60\nnitrate_pct = 60', ["120 %"]),
        ('name = "cure"\namount = "250 g"\nnitrite_pct = 0', ["without its strength"]),
        (
            'name = "cure"\namount = "250 g"\nmaterial = "curing salt 6.25 %"\nnitrite_pct = 0.6',
            ["0.6 %", "6.25 %", "read the label again"],
        ),
        ('name = "ice"\namount = "0.00002 ppm of meat"', ["too small"]),
        ('name = "ice"\namount = "0.0005 ppm of meat"', ["is 2.5e-08 kg", "row 7"]),
        (
            'name = "P"\namount = "250 g"\nkind = "phosphate"\nmoisture_pct = 0\nprotein_pct = 0\nfat_pct = 0\nash_pct = 100',
            ["which compound", "sodium tripolyphosphate"],
        ),
        (
            'name = "ice"\namount = "5 kg"\ncomposition = "same recipe"\nkind = "ice"',
            ["is for rework"],
        ),
        ('name = "ice"\namount = "150 % of batch"', ["over 100 %"]),
    ],
)
def test_one_line_one_fault(text, words):
    found = toml_line(text)
    assert len(found) == 1, [str(fault) for fault in found]
    said = str(found[0])
    assert "mine.toml" in said and "row" in said
    assert [word for word in words if word not in said] == [], said


@pytest.mark.parametrize(
    "text, words",
    [
        ("", ["no ingredient lines"]),
        ('name = "only a name"', ["no ingredient lines"]),
        ('[[line]]\nname = "ice"\namount = "5 kg"', ["no meat"]),
        ('naem = "x"\n[[line]]\n' + MEAT, ["naem", "name", "row 1"]),
        ("name = 5\n[[line]]\n" + MEAT, ["the number 5", "name"]),
        ('rule = "two words"\n[[line]]\n' + MEAT, ["no key"]),
        ('name = "a"\nname = "b"\n[[line]]\n' + MEAT, ["given twice", "row 2"]),
        ('[[line]]\nname = "x"\n' + MEAT, ["given twice", "row 4"]),
        ("line = 5", ["list of tables", "[[line]]"]),
        ("line = [5]", ["needs to be a table"]),
        ("[line]\n" + MEAT, ["a single table", "[[line]]", "row 1"]),
        ("process = 5\n[[line]]\n" + MEAT, ["process is a number", "one table"]),
        ("[[process]]\nchop_min = 5\n[[line]]\n" + MEAT, ["process is a list"]),
        ("[process]\nchop_mins = 5\n[[line]]\n" + MEAT, ["chop_mins", "chop_min", "row 2"]),
        ("[process]\nchop_min = 500\n[[line]]\n" + MEAT, ["500", "0.1 and 120 min"]),
        (
            "[process]\nchop_end_C = 55\n[[line]]\n" + MEAT,
            ["55", "-10 and 30 °C", "check the unit"],
        ),
        ('[process]\ncasing = "celulose"\n[[line]]\n' + MEAT, ["celulose", "cellulose"]),
        ("[process.cook]\nx = 1\n[[line]]\n" + MEAT, ["no field 'cook'"]),
        (
            '[[cook]]\nkind = "smoke"\ndry_bulb_C = 60\n[[line]]\n' + MEAT,
            ["duration_min is missing", "row 1"],
        ),
        (
            '[[cook]]\nkind = "smoke"\nduration_min = 5\ndry_bulb_C = 60\nwet_bulb_C = 50\nrh_pct = 50\n[[line]]\n'
            + MEAT,
            ["both wet_bulb_C and rh_pct"],
        ),
        (
            '[[cook]]\nkind = "smoke"\nduration_min = 5\ndry_bulb_C = 40\nwet_bulb_C = 50\n[[line]]\n'
            + MEAT,
            ["50 is above dry_bulb_C 40"],
        ),
        ('[[weighing]]\nstage = "chop"\n[[line]]\n' + MEAT, ["stage chop has no weight"]),
        ('[[weighing]]\nstage = "mince"\nin_kg = 5\n[[line]]\n' + MEAT, ["mince", "nearest"]),
        (
            '[[weighing]]\nstage = "chop"\nin_kg = 5\n[[weighing]]\nstage = "chop"\nout_kg = 5\n[[line]]\n'
            + MEAT,
            ["weighed twice", "row 5"],
        ),
        ('[[weighing]]\nstage = "chop"\nin_kg = -5\n[[line]]\n' + MEAT, ["-5"]),
        ('[[weighing]]\nstage = "chop"\nin_kg = "5 mm"\n[[line]]\n' + MEAT, ["5 mm", "mass"]),
        (
            "[[line]]\n"
            + MEAT
            + '[[line]]\nname = "ice"\namount = "60 % of batch"\n[[line]]\nname = "salt"\namount = "50 % of batch"',
            ["110 %", "less than 100 %"],
        ),
        ("this is not TOML", ["not TOML", "row 1"]),
        ("a = " + "[" * 5000, ["nested too deeply"]),
        ("a." * 10_000 + "b = 1", ["too many parts", "row 1"]),
        ("# mine\n[" + "'a' . " * 10_000 + "b]", ["too many parts", "row 2"]),
        ("a = " + "9" * 5000, ["too long"]),
        ("a.b.c = 5\n[[line]]\n" + MEAT, ["no entry 'a'"]),
    ],
)
def test_one_sheet_one_fault(text, words):
    found = faults_of(text or "\n", "mine.toml")
    assert len(found) == 1, [str(fault) for fault in found]
    assert [word for word in words if word not in str(found[0])] == [], str(found[0])


def test_all_faults_of_a_file_come_at_once_in_the_order_of_its_rows():
    found = faults_of(
        "\n".join(
            [
                "name = 5",
                "[[line]]",
                'name = "pork trimm"',
                'amount = "-3 kg"',
                "temperature_C = 900",
                "[[line]]",
                'name = "ice"',
                'amount = "5 %"',
                'colour = "white"',
                "[process]",
                'chop_min = "long"',
                "[[weighing]]",
                'stage = "oven"',
            ]
        ),
        "mine.toml",
    )
    assert [(fault.row, fault.field) for fault in found] == [
        (1, "name"),
        (3, "line 1 name"),
        (4, "line 1 amount"),
        (5, "line 1 temperature_C"),
        (8, "line 2 amount"),
        (9, "line 2 colour"),
        (11, "process chop_min"),
        (12, "weighing 1 in_kg"),
        (13, "weighing 1 stage"),
    ]
    assert all(fault.file == "mine.toml" for fault in found)


def test_faults_of_plain_data_name_the_entry():
    found = faults_of(
        {
            "line": [
                {"name": "pork trim 80", "amount": "5 kg"},
                {"name": "ice", "amount": "5 stone of meat"},
            ]
        }
    )
    assert len(found) == 1 and "line 2 amount" in str(found[0])


# --- text, encodings, endings --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "whole, name, words",
    [
        (HEAD.encode() + b"\nmeat,po\x00rk,1,kg", "a.csv", ["zero bytes", "row 2"]),
        (workbook(GRID), "a.csv", ["zipped", ".xlsx"]),
        (b"\xd0\xcf\x11\xe0" + b"0" * 50, "a.csv", ["old binary kind"]),
        (b"\xd0\xcf\x11\xe0" + b"0" * 50, "a.xlsx", ["old binary kind", "password"]),
        (b"name,amount", "a.xlsx", ["no workbook"]),
        (b"", "a.xlsx", ["no workbook"]),
        (b"", "a.csv", ["no ingredient lines"]),
        (b"", "a.toml", ["no ingredient lines"]),
        (b"x" * 1_000_001, "a.csv", ["1,000,001 bytes", "1,000,000"]),
        (b"#" * 200_001, "a.toml", ["200,000"]),
        (b"PK" + b"0" * 5_000_000, "a.xlsx", ["5,000,000"]),
        (b"abc", "a.xls", [".xls", ".xlsx"]),
        (b"abc", "a.xlsm", ["macros are neither read nor run"]),
        (b"abc", "", ["does not say its form"]),
    ],
)
def test_a_file_in_the_wrong_encoding_or_form(whole, name, words):
    found = faults_of(whole, name)
    assert len(found) == 1
    assert [word for word in words if word not in str(found[0])] == [], str(found[0])


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32", "cp1252"])
def test_text_in_another_encoding_is_read_and_what_was_guessed_is_said(encoding):
    csv, toml = (
        f'{HEAD}\nmeat,pork trim 80,50,kg\nspice,"spice, generic",1,kg\n',
        f'name = "café"\n[[line]]\n{MEAT}',
    )
    assert read_sheet(csv.replace('spice,"', 'spice ,"').encode(encoding), "a.csv").batch_kg == 51
    found = read_sheet(toml.encode(encoding), "a.toml")
    assert found.name == "café" and ("Windows Western" in " ".join(found.notes)) == (
        encoding == "cp1252"
    )


def test_the_mark_of_utf_8_is_accepted():
    assert (
        read_sheet(b"\xef\xbb\xbf" + f"{HEAD}\nmeat,pork trim 80,50,kg".encode(), "a.csv").meat_kg
        == 50
    )
    assert read_sheet(b"\xef\xbb\xbf[[line]]\n" + MEAT.encode(), "a.toml").meat_kg == 50


def test_a_file_that_is_not_there(tmp_path):
    found = faults_of(tmp_path / "gone.toml")
    assert "cannot be opened" in str(found[0]) and str(tmp_path) not in str(found[0])
    assert "cannot be opened" in str(faults_of(str(tmp_path / "gone.csv"))[0])
    (tmp_path / "folder.toml").mkdir()
    assert "cannot be opened" in str(faults_of(tmp_path / "folder.toml")[0])
    assert ".txt" in str(faults_of(tmp_path / "mine.txt")[0])


def test_what_is_no_sheet_at_all():
    for thing in (None, 5, 3.5, [], object()):
        with pytest.raises(KitError, match="cannot be read from"):
            read_sheet(thing)


# --- CSV -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "rows, header, words",
    [
        (["meat,pork trim 80,50,kg", "ice,ice,5,"], HEAD, ["no unit", "row 3", "column C"]),
        (
            ["meat,pork trim 80,50,kg", "ice,ice,,kg"],
            HEAD,
            ["stands without an amount", "row 3", "column D"],
        ),
        (["meat,pork trim 80,50,kg", "ice,ice,5,%"], HEAD, ["a share of what", "row 3"]),
        (["meat,pork trim 80,50,kg", 'ice,ice,"5,500",kg'], HEAD, ["comma", "row 3"]),
        (
            ["meat,pork trim 80,50,kg", "ice,ice,5,kg,x"],
            HEAD,
            ["column E", "without a header", "quotes"],
        ),
        (["meat,pork trim 80,50,kg,x"], HEAD + ",colur", ["colur", "row 1", "column E", "nearest"]),
        (["meat,pork trim 80,50,kg,1"], HEAD + ",name", ["stands twice", "columns B and E"]),
        (["meat,pork trim 80,50,kg"], "", ["header", "row"]),
        (["pork trim 80,50,kg"], "ice,5,kg", ["no header", "kind, name, amount, unit"]),
        (
            [HEAD, "meat,pork trim 80,50,kg"],
            "My batch,,,",
            ["no header", "delete what stands above"],
        ),
        (["meat,pork trim 80,50,kg", 'ice,"ice,5,kg'], HEAD, ["taken apart", "row 3", "quotes"]),
        (["meat,pork trim 80,50,kg"] + [""] * 2000 + ["ice,ice,5,kg"], HEAD, ["beyond row 2000"]),
        (["meat,pork trim 80,50,kg" + ",1" * 101], HEAD, ["column 100"]),
        (["meat;pork trim 80;1,250;kg"], HEAD.replace(",", ";"), ["comma", "row 2"]),
        (
            ["meat;pork trim 80;50,5;kg", "ice;ice;5.5;kg"],
            HEAD.replace(",", ";"),
            ["make them alike"],
        ),
        (["meat,pork trim 80,50,kg,99"], HEAD + ",pH", ["99", "row 2", "column E"]),
    ],
)
def test_a_csv_with_one_fault(rows, header, words):
    found = csv_of(*rows, header=header)
    assert len(found) == 1, [str(fault) for fault in found]
    assert [word for word in words if word not in str(found[0])] == [], str(found[0])


@pytest.mark.parametrize(
    "row, words",
    [
        ("lines,ice,,5,kg,", ["part is 'lines'", "line", "row 3"]),
        ("process,chop_mins,5,,,", ["chop_mins", "chop_min"]),
        ("process,,5,,,", ["needs the name of its entry"]),
        ("process,chop_min,5,,,chop", ["no meaning in a process row"]),
        ("process,chop_min,five,,,", ["five", "column C"]),
        ("batch,decimal,;,,,", ["decimal is ';'"]),
        ("weighing,,,5,,chop", ["no field 'amount'", "has no weight"]),
        ("line,ice,7,5,kg,", ["no field 'value'"]),
    ],
)
def test_a_csv_of_typed_rows_with_a_fault(row, words):
    found = csv_of("line,pork trim 80,,50,kg,", row, header="part,name,value,amount,unit,stage")
    said = "\n".join(str(fault) for fault in found)
    assert [word for word in words if word not in said] == [], said


def test_a_process_entry_given_twice():
    found = csv_of(
        "line,pork trim 80,,50,kg",
        "process,chop_min,5,,",
        "process,chop_min,6,,",
        header="part,name,value,amount,unit",
    )
    assert len(found) == 1 and "given twice" in str(found[0]) and found[0].row == 4


def test_decimal_commas_are_read_where_the_file_says_so():
    text = "part;name;value;kind;amount;unit;pH\nbatch;decimal;,;;;;\nline;pork trim 80;;meat;50,5;kg;5,8\nline;ice;;ice;25,25;% of meat;\n"
    batch = read_sheet(text, "a.csv")
    assert (
        batch.meat_kg == 50.5
        and batch.lines[0].pH == 5.8
        and batch.lines[1].amount.written == "25.25 % of meat"
    )
    assert (
        read_sheet(f'decimal = ","\n[[line]]\n{MEAT}pH = 5.8\nstock_kg = "1,5 kg"', "a.toml")
        .lines[0]
        .stock_kg
        == 1.5
    )


def test_a_point_in_a_file_of_decimal_commas_is_refused():
    found = faults_of(
        f'decimal = ","\n[[line]]\n{MEAT}[[line]]\nname = "ice"\namount = "1.250 kg"', "a.toml"
    )
    assert len(found) == 1 and "with a point" in str(found[0])
    found = faults_of(
        f'decimal = ","\n[[line]]\n{MEAT}[[line]]\nname = "ice"\namount = "1,250,000 g"', "a.toml"
    )
    assert len(found) == 1


# --- workbooks -----------------------------------------------------------------------------------------------------------


def put(place, value, **style):
    def tweak(sheet):
        sheet[place] = value
        for key, what in style.items():
            setattr(sheet[place], key, what)

    return tweak


def test_the_plain_workbook_is_read():
    assert read_sheet(workbook(GRID), "mine.xlsx").batch_kg == 60
    assert read_sheet(workbook(GRID, "Sheet1"), "mine.xlsx").batch_kg == 60


def date(place):
    import datetime

    return put(place, datetime.date(2020, 5, 1))


@pytest.mark.parametrize(
    "tweak, words",
    [
        (put("B3", "=5+5"), ["formula", "never saved", "row 3", "column B", "sheet line"]),
        (put("A3", '="ice"'), ["formula"]),
        (lambda sheet: sheet.merge_cells("B2:B3"), ["B2:B3", "merged", "unmerge"]),
        (date("B3"), ["date", "2020-05-01", "column B"]),
        (date("A3"), ["date"]),
        (put("D3", "5"), ["the text '5'", "row 3", "column D"]),
        (put("D3", "cold"), ["text in place of a number"]),
        (put("B3", "ten"), ["no amount"]),
        (put("B3", True), ["yes or no"]),
        (put("B3", 0.25, number_format="0%"), ["shown as a percentage", "write 25", "of meat"]),
        (put("B3", "#DIV/0!"), ["error #DIV/0!"]),
        (put("C3", 5), ["unit is '5'"]),
        (put("A3", 5), ["the number 5"]),
        (put("F3", "stray"), ["without a header", "column F"]),
        (put("E1", "temprature"), ["temprature", "temperature_C"]),
        (put("A5000", "far"), ["beyond row 2000"]),
        (put("DD3", "far"), ["column 100"]),
        (put("ZZ3", 1), ["column 100"]),
        (lambda sheet: sheet.insert_rows(1), ["no header", "row 2"]),
        (lambda sheet: sheet.delete_rows(1), ["no header"]),
        (
            lambda sheet: sheet.parent.create_sheet("notes").append(["hello"]),
            ["sheet 'notes' is not known", "batch, line, process"],
        ),
        (
            lambda sheet: sheet.parent.create_sheet("process").append(["chop_min", 5]),
            ["no header", "sheet process"],
        ),
    ],
)
def test_a_workbook_with_one_fault(tweak, words):
    found = xlsx(tweak)
    assert [word for word in words if not any(word in str(fault) for fault in found)] == [], [
        str(fault) for fault in found
    ]
    assert len(found) == 1, [str(fault) for fault in found]


def test_a_formula_gives_the_value_it_was_saved_with_and_a_note_says_so():
    whole = workbook(GRID, tweak=put("B3", "=5+5"))
    saved = edited(
        whole,
        "xl/worksheets/sheet1.xml",
        b"<f>5+5</f><v></v>",
        b"<f>5+5</f><v>12.5</v>",
        b"<f>5+5</f><v />",
    )
    batch = read_sheet(saved, "mine.xlsx")
    assert batch.line("ice").kg == 12.5
    assert len(batch.notes) == 1 and "line!B3" in batch.notes[0] and "12.5" in batch.notes[0]


def edited(whole, part, old, new, other_old=None, extra=None):
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(whole)) as before,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as after,
    ):
        for item in before.infolist():
            data = before.read(item)
            if item.filename == part:
                found = old if old in data else other_old
                assert found in data, data
                data = data.replace(found, new)
            after.writestr(item.filename, data)
        for name, data in (extra or {}).items():
            after.writestr(name, data)
    return out.getvalue()


def test_macros_in_a_workbook_are_not_run_and_change_nothing():
    whole = edited(
        workbook(GRID),
        "xl/workbook.xml",
        b"</workbook>",
        b"</workbook>",
        extra={"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0 not run"},
    )
    assert read_sheet(whole, "mine.xlsx") == read_sheet(workbook(GRID), "mine.xlsx")


def test_a_workbook_that_unpacks_to_too_much_is_not_unpacked():
    whole = edited(
        workbook(GRID),
        "xl/workbook.xml",
        b"</workbook>",
        b"</workbook>",
        extra={"xl/media/huge.bin": b"0" * 21_000_000},
    )
    assert len(whole) < 5_000_000
    assert "unpacks to" in str(faults_of(whole, "mine.xlsx")[0])


def test_a_forged_merged_area_of_the_whole_sheet_costs_nothing():
    whole = edited(
        workbook(GRID, tweak=lambda sheet: sheet.merge_cells("B2:B3")),
        "xl/worksheets/sheet1.xml",
        b'ref="B2:B3"',
        b'ref="A1:XFD1048576"',
    )
    assert "A1:XFD1048576" in str(faults_of(whole, "mine.xlsx")[0])


def test_a_row_said_to_be_a_billion_is_far_out():
    whole = edited(
        workbook(GRID), "xl/worksheets/sheet1.xml", b'<row r="3"', b'<row r="1000000000"'
    )
    assert "beyond row 2000" in str(faults_of(whole, "mine.xlsx")[0])


def test_empty_sheets_of_a_workbook_are_passed_over():
    whole = workbook(GRID, tweak=lambda sheet: sheet.parent.create_sheet("Sheet2"))
    assert read_sheet(whole, "mine.xlsx").batch_kg == 60


def test_two_sheets_of_one_part():
    whole = workbook(
        GRID, tweak=lambda sheet: sheet.parent.create_sheet("Line ").append(["name", "amount"])
    )
    assert "two sheets for line" in str(faults_of(whole, "mine.xlsx")[0])


def test_too_many_lines():
    lines = [{"name": f"ice {n}", "material": "ice", "amount": "1 kg"} for n in range(201)]
    assert "201 line entries; the limit is 200" in str(faults_of({"line": lines})[0])


def test_an_unknown_rule_is_told_with_all_other_faults():
    text = 'rule = "us_frankfurtr"\n[[line]]\nname = "pork trim 80"\namount = "25"\n[process]\nchop_min = 500\n'
    with pytest.raises(Faulty) as refused:
        read_sheet(text, "mine.toml")
    rule, *others = sorted(refused.value.faults, key=lambda fault: fault.row or 0)
    assert (rule.row, rule.field) == (1, "rule") and "nearest: us_frankfurter" in rule.what
    assert "follow(sheet, rules=...)" in rule.remedy and len(others) == 2


@pytest.mark.parametrize(
    "header, says",
    [
        (
            "Ingredient,Weight (kg)",
            ("write name for 'Ingredient' and amount for 'Weight (kg)'", "unit that holds 'kg'"),
        ),
        ("Ingredient,Lot,lb", ("amount for 'lb'", "unit that holds 'lb'")),
        ("Item,Amount,Unit", ("write name for 'Item'",)),
        ("Material (raw),%", ()),
    ],
)
def test_an_ingredient_list_is_recognised_and_told_what_a_sheet_needs(header, says):
    cells = {"Unit": "kg"}
    row = ",".join(["beef 90/10", *(cells.get(name, "12") for name in header.split(",")[1:])])
    found = faults_of(f"{header}\n{row}\n", "list.csv")
    said = " ".join(map(str, found))
    assert ("this is an ingredient list" in said) == bool(says)
    if says:
        assert "columns name and amount" in said and found[0].row == 1
        assert [one for one in says if one not in said] == []


def test_an_ingredient_list_renamed_as_told_is_a_sheet():
    sheet = read_sheet("name,amount,unit,kind\npork trim 80,12,kg,meat\nice,3,kg,\n", "list.csv")
    assert [line.kg for line in sheet.lines] == [12, 3]


@pytest.mark.parametrize("sign", [";", "\t", "|"])
def test_a_table_may_be_parted_by_other_signs_and_then_have_decimal_commas(sign):
    rows = "kind,name,amount,unit\nmeat,pork trim 80,50:5,kg\nice,ice,1250:5,g\n"
    sheet = read_sheet(rows.replace(",", sign).replace(":", ","), "a.csv")
    assert [line.kg for line in sheet.lines] == pytest.approx([50.5, 1.2505])
    assert sheet.notes == ("commas read as decimal signs",)
    plain = read_sheet(rows.replace(",", sign).replace(":5", "").replace("1250", "5"), "a.csv")
    assert plain.kg == pytest.approx((50, 0.005)) and plain.notes == ()
