"""Every table taken from a printed source, as data files, and the look-ups on them."""
