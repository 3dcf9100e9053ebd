"""Sliders, one core call, one view. panel.py is the shared panel; each lesson has one file beside it."""
