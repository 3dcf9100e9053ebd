"""The first notebook's panels where a plant's own calibration is chosen."""
import pytest

from kit.emulsion.saved import as_toml
from kit.panels.emulsion import class_tests_panel
from kit.panels.start import batch_panel


def test_a_saved_calibration_is_used_and_what_it_changed_stands_beside():
    panel = batch_panel()
    plain = panel.result.holds.held.total_out_g
    panel.set(calibration=("ours.toml", as_toml(class_tests_panel().result.calibration).encode()))
    assert panel.result.calibration.name == "invented class"
    assert panel.result.holds.held.total_out_g != pytest.approx(plain, abs=0.05)
    panel.picture.opened = ["Chop and emulsion: end temperature, margins, what may leave"]
    assert "before your calibration" in panel.text() and f"({plain:.1f} %)" in panel.text()
    panel.set(calibration=("bad.toml", b"kind = 3"))
    assert panel.picture.payload["error"]
