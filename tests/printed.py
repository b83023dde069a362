"""What a book printed, as something a number can be compared with.

Import it as `from tests.printed import printed`; `tests/conftest.py` makes that work however pytest is started.
"""

from decimal import Decimal

import pytest


def printed(digits: str, within: float = 0.0):
    """A printed number, with half a unit of its last digit as tolerance.

    Where a source rounds its inputs, reads a chart or uses another formula, `within` widens the tolerance to that share
    of the number; the test then says why.

    >>> 41.72 == printed("41.7"), 41.76 == printed("41.7")
    (True, False)
    >>> 42.0 == printed("41.7", within=0.01)
    True
    """
    number = Decimal(digits)
    half_a_digit = 0.5 * 10.0 ** int(number.as_tuple().exponent)
    # the last factor lets a number stand exactly on the half digit
    return pytest.approx(float(number), rel=0, abs=max(half_a_digit, within * abs(float(number))) * (1 + 1e-9))
