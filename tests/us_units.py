"""Units that American sources print, in SI: exact by NIST SP 811, appendix B.8, and defined apart from the package."""

INCH, FOOT, MILE = 0.0254, 0.3048, 1609.344
GALLON = 231 * INCH**3
GPM, GPH = GALLON / 60, GALLON / 3600
POUND = 0.45359237
PSI = POUND * 9.80665 / INCH**2
FOOT_OF_WATER = FOOT * 9.80665 * 999.0  # at 60 °F, the head a hydraulic table means
BTU = 1055.05585262
BTU_PER_HOUR = BTU / 3600


def celsius(fahrenheit: float) -> float:
    """Degrees Celsius of degrees Fahrenheit.

    >>> celsius(212)
    100.0
    """
    return (fahrenheit - 32) * 5 / 9


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit of degrees Celsius.

    >>> fahrenheit(100)
    212.0
    """
    return celsius * 9 / 5 + 32
