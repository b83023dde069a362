"""Building, reading, evaluating and patching schedule workbooks."""
