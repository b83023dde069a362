"""Pipes of the laboratory by plain floats, written from the printed formulas and sharing nothing with the program."""

import math

FOOT, INCH = 0.3048, 0.0254


def celsius(degrees):
    """°F in °C."""
    return (degrees - 32) / 1.8


# Copper type L: inside and outside diameter in inches
BORES = {"3/4": (0.785, 0.875), "1/2": (0.545, 0.625), "1": (1.025, 1.125), "1-1/4": (1.265, 1.375),
         "1-1/2": (1.505, 1.625), "2": (1.985, 2.125)}  # fmt: skip


def conductance(run):
    """U′ of a run of the laboratory, each term as the books print it. [W/(m·K)]"""
    bore, outside = (INCH * one for one in BORES[run.size])
    surface = outside + 2 * run.insulation * INCH
    resistance = math.log(outside / bore) / (2 * math.pi * 394) + math.log(surface / outside) / (2 * math.pi * 0.04)
    if run.exposure == "buried":
        return 1 / (resistance + math.acosh(2 * (0.5 + surface / 2) / surface) / (2 * math.pi * 2.0))
    return 1 / (resistance + 1 / (math.pi * surface * {"inside": 12.8, "outside": 34.0}[run.exposure]))


def time_constant(run):
    """Seconds in which standing water comes nearer to its surroundings by the factor e; water 4.2 MJ/(m³·K)."""
    bore, outside = (INCH * one for one in BORES[run.size])
    return math.pi / 4 * (4.2e6 * bore**2 + 8940 * 386 * (outside**2 - bore**2)) / conductance(run)
