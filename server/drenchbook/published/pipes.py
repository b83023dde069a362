"""Pipe materials and sizes as published: what a size is called, its bore, wall and roughness."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from drenchbook.errors import InputError
from drenchbook.published.data_files import rows
from drenchbook.published.size_text import inches, looks_like_date, tidy

LONGEST_REMEMBERED = 100  # characters of a material or a size that is read once and remembered
METRES_PER = {"in": 0.0254, "mm": 0.001}
# Day numbers of a spreadsheet's calendar from 1954 to 2119; no pipe size is a number in between.
DATE_NUMBERS = (20_000, 80_000)
DATE_REASON = (
    "is a date: a spreadsheet turned 3/4 into one. Format the cell as text and type the size again, such as 3/4"
)


@dataclass(frozen=True)
class Pipe:
    """One size of one material, in SI.

    Attributes
    ----------
    material, size : str
        As the tables write them. [-]
    inside_diameter, outside_diameter, wall : float
        For plastics the wall is the least allowed and the bore the average, so they do not add up. [m]
    roughness : float
        Of the new pipe, for Colebrook-White. [m]
    hazen_williams_c : float
        Coefficient for design. [-]
    wall_density, wall_heat_capacity, wall_conductivity : float
        Of the wall material. [kg/m³, J/(kg·K), W/(m·K)]
    wall_elasticity : float
        Modulus of elasticity of the wall; where sources give a band the stiffest. [Pa]
    nominal_inches : float
        Nominal size; by DN name where the size is named in millimetres. [in]
    source : str
        Where the dimensions come from, a key of ``SOURCES`` first. [-]
    """

    material: str
    size: str
    inside_diameter: float
    outside_diameter: float
    wall: float
    roughness: float
    hazen_williams_c: float
    wall_density: float
    wall_heat_capacity: float
    wall_conductivity: float
    wall_elasticity: float
    nominal_inches: float
    source: str


@cache
def _sizes_by_material() -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for row in rows("pipes"):
        found.setdefault(row["material"], []).append(row["size"])
    return {material: tuple(names) for material, names in found.items()}


@cache
def _material_names() -> dict[str, str]:
    names = {}
    for row in rows("materials"):
        for word in (row["material"], *row["aliases"].split(";")):
            names[_plain(word)] = row["material"]
    return names


@cache
def _inch_sizes() -> dict[float, str]:
    listed = {size for sizes_ in _sizes_by_material().values() for size in sizes_ if "x" not in size}
    return {inches(size): size for size in sorted(listed, key=inches)}


@cache
def _dn_sizes() -> dict[str, str]:
    return {row["dn"]: row["size"] for row in rows("dn_names")}


@cache
def _metric_sizes() -> frozenset[str]:
    return frozenset(size for sizes_ in _sizes_by_material().values() for size in sizes_ if "x" in size)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def material_name(value: object) -> str:
    """Name of a material as the tables write it; case and spaces do not matter.

    Parameters
    ----------
    value : object
        What stands in the cell. [-]

    Returns
    -------
    str
        One of ``MATERIALS``. [-]

    >>> material_name(" Copper Type L ")
    'copper L'
    """
    if value is None or (isinstance(value, str) and not value.strip()):
        raise InputError("material", value, f"needs one of {', '.join(MATERIALS)}")
    if isinstance(value, str) and _plain(value) in _material_names():
        return _material_names()[_plain(value)]
    raise InputError(
        "material", value, f"is not in the tables, which have {', '.join(MATERIALS)}{_near_materials(value)}"
    )


def _near_materials(value: object) -> str:
    import difflib  # only a wrong name needs it

    typed = _plain(str(value))
    near = [name for name in MATERIALS if typed and _plain(name).startswith(typed)]
    near = near or [_material_names()[name] for name in difflib.get_close_matches(typed, _material_names(), n=1)]
    return f"; did you mean {' or '.join(near)}?" if near else ""


def sizes(material: str) -> tuple[str, ...]:
    """Sizes of one material, smallest first.

    Parameters
    ----------
    material : str
        One of ``MATERIALS``, in any case. [-]

    Returns
    -------
    tuple of str
        Sizes as on drawings. [-]

    >>> sizes("CPVC")
    ('1/2', '3/4', '1', '1-1/4', '1-1/2', '2')
    """
    return _sizes_by_material()[material_name(material)]


def canonical_size(value: object) -> str:
    """Size as the tables write it, from what people and spreadsheets make of it.

    Parameters
    ----------
    value : object
        Text such as ``¾``, ``1 1/4"``, ``DN32``, ``28 x 1,2``, or a number equal to a listed inch size. [-]

    Returns
    -------
    str
        ``3/4``, ``1-1/4``, ``28x1.2``; a DN name becomes its inch size. [-]

    Notes
    -----
    A date is refused: it is what a spreadsheet makes of 3/4, and nobody can tell which size was meant.

    >>> canonical_size("1 ¼”"), canonical_size("dn 32"), canonical_size("28 × 1,2"), canonical_size(0.75)
    ('1-1/4', '1-1/4', '28x1.2', '3/4')
    """
    if hasattr(value, "isoformat"):  # dates and times of every library
        raise InputError("size", value, DATE_REASON)
    if value is None or (isinstance(value, str) and not value.strip()):
        raise InputError("size", value, "needs a pipe size as text, such as 3/4, 1-1/4, DN32 or 28x1.2")
    if isinstance(value, bool) or not (isinstance(value, str) or hasattr(value, "__float__")):
        raise InputError("size", value, "must be a pipe size as text, such as 3/4, 1-1/4, DN32 or 28x1.2")
    if isinstance(value, str):
        return _size_of_text(value)
    return _size_of_number(float(value), value)


def _size_of_number(number: float, typed: object) -> str:
    if number in _inch_sizes():
        return _inch_sizes()[number]
    if DATE_NUMBERS[0] <= number <= DATE_NUMBERS[1]:
        raise InputError("size", typed, DATE_REASON)
    if f"DN{number:g}" in _dn_sizes():
        raise InputError("size", typed, f'is no inch size in the tables; type "DN{number:g}" if that is meant')
    walls = [size for size in sorted(_metric_sizes()) if size.startswith(f"{number:g}x")]
    if walls:
        raise InputError("size", typed, f"lacks the wall; the tables have {', '.join(walls)}")
    if not math.isfinite(number):
        raise InputError("size", typed, "must be a pipe size as text, such as 3/4, 1-1/4, DN32 or 28x1.2")
    raise InputError("size", typed, f"is not in the tables; {_near_text(number)}")


def _size_of_text(typed: str) -> str:
    text = tidy(typed)
    if text in _dn_sizes():
        return _dn_sizes()[text]
    metric = re.fullmatch(r"(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)", text)
    if metric:
        size = f"{float(metric[1]):g}x{float(metric[2]):g}"
        if size in _metric_sizes():
            return size
        same = sorted(other for other in _metric_sizes() if other.startswith(f"{float(metric[1]):g}x"))
        reason = f"for {float(metric[1]):g} mm they have {', '.join(same)}" if same else "they have 12x0.6 to 108x2.5"
        raise InputError("size", typed, f"is not in the tables; {reason}")
    fraction = re.fullmatch(r"(?:(\d+)[- ])?(\d+)/(\d+)", text)
    if fraction and int(fraction[3]):
        number = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
        if number in _inch_sizes() and int(fraction[2]) < int(fraction[3]):
            return _inch_sizes()[number]
        filled = "" if fraction[3] in ("2", "4", "8") else " (filling down turns 3/4 into 3/5)"
        raise InputError("size", typed, f"is not in the tables{filled}; {_near_text(number)}")
    if re.fullmatch(r"\d+(?:\.\d+)?", text):
        return _size_of_number(float(text), typed)
    if looks_like_date(text):
        raise InputError("size", typed, DATE_REASON)
    if text.startswith("DN"):
        raise InputError("size", typed, f"is not in the tables, which have {', '.join(_dn_sizes())}")
    raise InputError("size", typed, "is not a pipe size; write it as 3/4, 1-1/4, DN32 or 28x1.2")


def _near_text(number: float) -> str:
    near = sorted(sorted(_inch_sizes(), key=lambda listed: abs(listed - number))[:2])
    return f"the nearest are {' and '.join(_inch_sizes()[listed] for listed in near)}"


@cache
def _rows_by_size() -> dict[tuple[str, str], Mapping[str, str]]:
    return {(row["material"], row["size"]): row for row in rows("pipes")}


@cache
def _listed_pipe(name: str, size: str) -> Pipe:
    row = _rows_by_size()[name, size]
    material = next(other for other in rows("materials") if other["material"] == name)
    metres = METRES_PER[row["unit"]]
    nominal = row["size"] if "x" not in row["size"] else _dn_sizes()[row["dn"]]
    return Pipe(
        material=row["material"],
        size=row["size"],
        inside_diameter=float(row["inside_diameter"]) * metres,
        outside_diameter=float(row["outside_diameter"]) * metres,
        wall=float(row["wall"]) * metres,
        roughness=float(material["roughness_mm"]) * METRES_PER["mm"],
        hazen_williams_c=float(material["hazen_williams_c"]),
        wall_density=float(material["wall_density"]),
        wall_heat_capacity=float(material["wall_heat_capacity"]),
        wall_conductivity=float(material["wall_conductivity"]),
        wall_elasticity=float(material["wall_elasticity_gpa"]) * 1e9,
        nominal_inches=inches(nominal),
        source=row["source"],
    )


def pipe(material: object, size: object) -> Pipe:
    """One size of one material.

    Parameters
    ----------
    material : object
        One of ``MATERIALS``, in any case. [-]
    size : object
        Anything ``canonical_size`` reads. [-]

    Returns
    -------
    Pipe
        Dimensions and wall, in SI. [m, kg/m³, J/(kg·K), W/(m·K)]

    Notes
    -----
    Dimensions are those of the row's source. Where sources give a band of bores the smaller is used.

    >>> round(pipe("copper L", "1").inside_diameter / 0.0254, 3)
    1.025
    """
    read = _read_pipe if _is_short(material) and _is_short(size) else _read_pipe.__wrapped__
    return read(material, size)


def _is_short(value: object) -> bool:
    return value.__class__ is float or (isinstance(value, str) and len(value) <= LONGEST_REMEMBERED)


@lru_cache(maxsize=1024, typed=True)
def _read_pipe(material: object, size: object) -> Pipe:
    name, text = material_name(material), canonical_size(size)
    if (name, text) in _rows_by_size():
        return _listed_pipe(name, text)
    listed = sizes(name)
    if "x" in listed[0] and "x" not in text:
        nominal = {dn for dn, inch in _dn_sizes().items() if inch == text}
        same = [row["size"] for row in rows("pipes") if row["material"] == name and row["dn"] in nominal]
        wanted = f"{name} is named by outside diameter and wall, such as {', '.join(same or listed[:3])}"
    elif "x" in text and "x" not in listed[0]:
        wanted = f"{name} is named by inch or DN size; only copper EN 1057 is named by outside diameter and wall"
    else:
        wanted = f"{name} does not come in this size, only in {', '.join(listed)}"
    raise InputError("size", size, wanted)


MATERIALS: tuple[str, ...] = tuple(row["material"] for row in rows("materials"))
