"""Notebooks are compared with every row of their folded tables (kit/lab/panels/panel.py)."""

import os

os.environ.setdefault("COLD_BATTER_PICTURES", "words")
