"""Tests of the package; `tests.printed` and `tests.us_units` are shared by them."""
