"""The verdicts of the Field test: a reading decides only where it does so whatever the instrument may err."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

ORIFICE = '"The outlet or the supply gives more: look at the orifice and at the static pressure typed above."'
VALVE = '"The valve: its set temperature against the typed one, then check valves and strainers."'
ENTER = '"Enter the day above and every reading of this line."'
MEASURE = '"Measure the flowing pressure first."'


def verdict_formulas(here: Mapping[str, str], seconds: Sequence[int], gauge: str, share: str) -> dict[str, str]:
    """The formula of each result of a line.

    Parameters
    ----------
    here : mapping
        Cell of each column on the line. [-]
    seconds : sequence of int
        Times of the temperature readings. [s]
    gauge, share : str
        Cells that say what the gauge and the measured volume over time may err. [-]
    """
    blank = f"LEN({here['tag']})=0"
    flow = f'IF(AND(ISNUMBER({here["volume"]}),ISNUMBER({here["seconds"]})),{_flow(here)},"")'
    results = {
        "flow_verdict": _flow_verdict(here, share),
        "pressure_verdict": _pressure_verdict(here, gauge),
        "temperature_verdict": _temperature_verdict(here, seconds),
        "result": _result(here),
        "first": _first(here, gauge),
    }
    return {"flow": f"={flow}"} | {name: f'=IF({blank},"",{text})' for name, text in results.items()}


def _flow(here: Mapping[str, str]) -> str:
    return f'IF({here["seconds"]}>0,{here["volume"]}*60/{here["seconds"]},"?")'


def _flow_verdict(here: Mapping[str, str], share: str) -> str:
    least, most = f"{here['flow']}*(1-{share})", f"{here['flow']}*(1+{share})"
    known = f"AND(ISNUMBER({here['flow_least']}),ISNUMBER({here['need']}),ISNUMBER({share}))"
    outside = f"OR({most}<{here['need']},{most}<{here['flow_least']},{least}>{here['flow_most']})"
    judged = f'IF({outside},"FAIL",IF({least}<{here["need"]},"UNKNOWN","PASS"))'
    return f'IF(NOT(ISNUMBER({here["flow"]})),"NOT TESTED",IF({known},{judged},"UNKNOWN"))'


def _pressure_verdict(here: Mapping[str, str], gauge: str) -> str:
    reading = here["flowing"]
    known = f"AND(ISNUMBER({here['pressure_least']}),ISNUMBER({gauge}))"
    outside = f"OR({reading}<{here['pressure_least']}-{gauge},{reading}>{here['pressure_most']}+{gauge})"
    return f'IF(NOT(ISNUMBER({reading})),"NOT TESTED",IF({known},IF({outside},"FAIL","PASS"),"UNKNOWN"))'


def _temperature_verdict(here: Mapping[str, str], seconds: Sequence[int]) -> str:
    """FAIL on one reading outside after the first water; PASS needs the last reading of the flush too."""
    readings = [here[f"t{time}"] for time in seconds]
    outside = "+".join(
        f"IF(AND(ISNUMBER({cell}),{time}>={here['tepid']}),"
        f"IF(OR({cell}<{here['temperature_least']},{cell}>{here['temperature_most']}),1,0),0)"
        for cell, time in zip(readings, seconds, strict=True)
    )
    known = f"AND(ISNUMBER({here['temperature_least']}),ISNUMBER({here['tepid']}))"
    judged = f'IF({outside}>0,"FAIL",IF(ISNUMBER({readings[-1]}),"PASS","UNKNOWN"))'
    return f'IF(COUNT({readings[0]}:{readings[-1]})=0,"NOT TESTED",IF({known},{judged},"UNKNOWN"))'


def _result(here: Mapping[str, str]) -> str:
    """The worst of the readings; PASS asks for the pattern and the loss test too."""
    cells = [here[name] for name in ("flow_verdict", "pressure_verdict", "temperature_verdict")]

    def any_of(word: str) -> str:
        return "OR(" + ",".join(f'{cell}="{word}"' for cell in cells) + ")"

    seen = f'OR({here["pattern"]}="N",{here["loss_test"]}="N")'
    whole = f'AND({here["pattern"]}="Y",{here["loss_test"]}="Y")'
    rest = f'IF({any_of("NOT TESTED")},"NOT TESTED",IF({whole},"PASS","UNKNOWN"))'
    return f'IF(OR({any_of("FAIL")},{seen}),"FAIL",IF({any_of("UNKNOWN")},"UNKNOWN",{rest}))'


def _first(here: Mapping[str, str], gauge: str) -> str:
    """The one input to look at first, and by how much it is off; nothing is corrected by itself."""
    lost = f"ROUND({here['pressure_least']}-{here['flowing']},1)"
    path = f'"The path takes "&{lost}&" more than computed: a stop part shut, a strainer, the size or length of a run."'
    part = f"ROUND(100*{here['flow']}/{here['flow_least']},0)"
    outlet = f'"The outlet gives "&{part}&" % of what is computed at this pressure: orifice, then rated flow."'
    short = f"IF({here['flowing']}<{here['pressure_least']}-{gauge},{path},{outlet})"
    short = f"IF(ISNUMBER({here['flowing']}),{short},{MEASURE})"
    known = f"ISNUMBER({here['flow_most']})"
    flow = f"IF({known},IF({here['flow']}>{here['flow_most']},{ORIFICE},{short}),{ENTER})"
    rest = f'IF({here["temperature_verdict"]}="FAIL",{VALVE},IF({here["result"]}="UNKNOWN",{ENTER},""))'
    return f'IF({here["flow_verdict"]}="FAIL",{flow},{rest})'
