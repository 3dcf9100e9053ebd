"""The first notebook's panels where a plant's own calibration is chosen."""

import pytest

from kit.emulsion.saved import as_toml
from kit.lab.panels.emulsion import class_tests_panel
from kit.lab.panels.start import batch_panel
from kit.reading import read_sheet


def test_a_saved_calibration_is_used():
    panel = batch_panel()
    plain = panel.result.emulsion.held.total_out_g
    panel.set(calibration=("ours.toml", as_toml(class_tests_panel().result.calibration).encode()))
    assert panel.result.calibration.name == "invented class"
    assert panel.result.emulsion.held.total_out_g != pytest.approx(plain, abs=0.05)
    panel.picture.opened = ["Chopping and emulsion: temperature, margins, predicted cook-out"]
    assert f"({panel.result.emulsion.held.total_out_g:.1f} %)" in panel.text()
    panel.set(calibration=("bad.toml", b"kind = 3"))
    assert panel.picture.payload["error"]


def test_collagen_is_shown_as_the_emulsion_model_takes_it():
    """No figure is published for the beef; that milk holds no collagen says nothing of the meat."""
    sheet = read_sheet(
        {
            "name": "unknown collagen",
            "line": [
                {"name": "beef ground 80/20", "amount": "20 kg"},
                {"name": "ice", "amount": "5 kg"},
                {"name": "nonfat dry milk", "amount": "0.5 kg"},
                {"name": "salt", "amount": "2 % of batch"},
            ],
        }
    )
    panel = batch_panel(sheet)
    row = next(
        row
        for table in panel.shown.tables
        for row in table.rows
        if row.cells[0].startswith("collagen")
    )
    assert row.cells[1] == f"{panel.result.emulsion.batter.collagen_pct_of_protein:.0f}" == "20"
    assert "assumed" in row.cells[3] and "beef ground 80/20" in row.cells[3]
