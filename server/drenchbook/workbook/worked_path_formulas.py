"""The formulas of the Worked path: one text for each kind of line, made of the small functions."""

from __future__ import annotations

from collections.abc import Callable

Cell = Callable[[str], str]


def _chosen(kind: str, by_kind: dict[str, str], otherwise: str) -> str:
    """IF after IF: the expression of the kind that stands in a cell."""
    text = otherwise
    for name, expression in reversed(by_kind.items()):
        text = f'IF({kind}="{name}",{expression},{text})'
    return text


def loss_formula(given: Cell, here: Cell, units: str) -> str:
    """Expression of the pressure that a line costs; "–" where it costs none.

    Parameters
    ----------
    given, here : callable
        The cell of the path's array, and of the sheet, by the name of its column. [-]
    units : str
        "US" or "SI". [-]
    """
    pipe = ",".join([given("flow"), _text(given("material")), _text(given("size")), given("length"),
                     _text(given("fittings")), given("temperature")])  # fmt: skip
    method = f'IF(ISNUMBER({given("constant")}),{given("constant")},"Darcy-Weisbach")'
    points = (f'{given("pressure_1")}+({given("flow")}-{given("flow_1")})*({given("pressure_2")}-{given("pressure_1")})'
              f'/({given("flow_2")}-{given("flow_1")})')  # fmt: skip
    tested = f'{given("flow")},{given("start_pressure")},{given("pressure_2")},{given("flow_2")},"{units}"'
    lower, other = here("before"), here("other_before")
    seats = {word: f'{lower}-DRENCH_CHAMBER_PRESSURE({given("flow")},{given("fraction")},{hot},{cold},'
                   f'{given("coefficient")},"{units}")'
             for word, hot, cold in (("cold", other, lower), ("hot", lower, other))}  # fmt: skip
    square = f"{given('coefficient')}*{given('flow')}^2"
    by_kind = {
        "pipe": f'DRENCH_PIPE_LOSS({pipe},{method},"{units}")',
        "rough pipe": f'DRENCH_ROUGH_PIPE_LOSS({pipe},{given("roughness")},"{units}")',
        "rise": f'DRENCH_ELEVATION_LOSS({given("length")},{given("temperature")},"{units}")',
        "supply by test": f"{given('start_pressure')}-DRENCH_SUPPLY_PRESSURE({tested})",
        "supply by points": f"{given('start_pressure')}-({points})",
        "loss by points": points,
        "plant main by points": points,
        "booster": f"{points}-{given('start_pressure')}",
        "setting": f"MAX({lower}-{given('start_pressure')},0)",
        "loss by square": square,
        "plant main": square,
        "seats, cold lower": seats["cold"],
        "seats, hot lower": seats["hot"],
        "coefficient": f'DRENCH_COEFFICIENT_LOSS({given("flow")},{given("coefficient")},"","{units}")',
        "solver only": given("loss"),
    }
    return _chosen(here("kind"), by_kind, '"–"')


def pressure_formula(given: Cell, here: Cell) -> str:
    """Expression of the pressure after a line; "–" where it has none."""
    fallen = f'IF(ISNUMBER({here("loss")}),{here("before")}-{here("loss")},"–")'
    return _chosen(here("kind"), {"needed": given("pressure")}, fallen)


def result_formula(given: Cell, here: Cell, above: Cell, units: str) -> str:
    """Expression of what a line gives that is no pressure; "–" for the others.

    `above` gives a column of the sheet from its heading down to the line above.
    """

    def sum_of(kind: str) -> str:
        return f'SUMIF({above("kind")},"{kind}",{above("result")})'

    outlet = f"{here('before')},{given('flow_1')},{given('pressure_1')}"
    mix = ",".join(given(name) for name in ("flow", "mixed_temperature", "temperature", "cold_temperature"))
    hot, mixed = (f'DRENCH_ELEVATION_LOSS(1,{given(name)},"{units}")' for name in ("temperature", "mixed_temperature"))
    valve = ",".join(given(name) for name in ("flow", "fraction", "pressure_1", "pressure_2", "coefficient"))
    run = f"{given('flow')},{_text(given('material'))},{_text(given('size'))},{given('length')}"
    tank = ",".join(given(name) for name in ("volume", "fraction", "temperature", "cold_temperature",
                                              "mixed_temperature", "flow", "flow_1"))  # fmt: skip
    approach = f'IF(ISNUMBER({given("approach")}),{given("approach")},"")'
    by_kind = {
        "orifice outlet": f'DRENCH_OUTLET_FLOW({outlet},FALSE,"{units}")',
        "regulated outlet": f'DRENCH_OUTLET_FLOW({outlet},TRUE,"{units}")',
        "flow total": f"{sum_of('orifice outlet')}+{sum_of('regulated outlet')}",
        "hot flow": f'DRENCH_HOT_FLOW({mix},"{units}")',
        "cold flow": f'DRENCH_COLD_FLOW({mix},"{units}")',
        "hot fraction": f"{sum_of('hot flow')}*{hot}/({given('flow')}*{mixed})",
        "stem": f'DRENCH_STEM_POSITION({valve},"{units}")',
        "purge": f'DRENCH_RUN_PURGE_SECONDS({run},"{units}")',
        "purge total": sum_of("purge"),
        "stratified tank": f'DRENCH_STORAGE_MINUTES({tank},"stratified",{approach},"{units}")',
        "mixed tank": f'DRENCH_STORAGE_MINUTES({tank},"mixed",{approach},"{units}")',
        "solver only": f'IF(ISNUMBER({given("loss")}),"–",{given("result")})',
    }
    return _chosen(here("kind"), by_kind, '"–"')


def _text(cell: str) -> str:
    """Text of an array, as every program can compare and pass it on."""
    return f'{cell}&""'
