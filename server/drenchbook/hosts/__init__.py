"""Adapters: one for each spreadsheet program, and the server that all of them ask."""
