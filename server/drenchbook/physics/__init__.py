"""Equations: SI in, SI out, a number or an array alike."""
