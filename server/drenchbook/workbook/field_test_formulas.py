"""The verdicts of the Field test: a reading decides only where it does so whatever the instruments may err.

Each reading stands for a band, from what it may be at least to what it may be at most. Outside its window it is a FAIL;
wholly inside a PASS; half inside a PASS within uncertainty. A flow or a temperature that may miss its limit is UNKNOWN.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drenchbook.result_tables import FIELD_SECONDS, FIELD_TIMES

WITHIN = "PASS within uncertainty"
RANKED = ("FAIL", "UNKNOWN", "NOT TESTED", WITHIN, "PASS")  # worst first
VERDICTS_OF = ("static_verdict", "flow_verdict", "pressure_verdict", "temperature_verdict")
NO_SUCH_LINE = '"No such station and outlet on the sheet Stations: type both as they stand there."'
OTHER_READINGS = '"Recalculate: what to correct belongs to other readings."'
MEASURE_BETTER = '"Too near a limit for these instruments: measure longer, with a larger bucket, better gauges."'
FILL_ALL = '"Fill every reading of this line, and the pressure after the tests."'


@dataclass(frozen=True)
class Instruments:
    """Cells that say what was measured after the tests and what each instrument may err, either way."""

    after: str
    gauge: str
    thermometer: str
    bucket: str
    watch: str


def flow_formulas(here: Mapping[str, str], tools: Instruments) -> dict[str, str]:
    """Flow of a volume and its time, and what it may be at least and at most: errors of bucket and watch together."""
    volume, seconds, bucket, watch = here["volume"], here["seconds"], tools.bucket, tools.watch
    read = f"AND(ISNUMBER({volume}),ISNUMBER({seconds}))"
    known = f"AND(ISNUMBER({bucket}),ISNUMBER({watch}))"
    flow = f'IF({seconds}>0,{volume}*60/{seconds},"?")'
    low = f'IF({known},IF({seconds}+{watch}>0,MAX(0,{volume}-{bucket})*60/({seconds}+{watch}),"?"),"?")'
    high = f'IF({known},IF({seconds}>{watch},({volume}+{bucket})*60/({seconds}-{watch}),"?"),"?")'
    return {
        "flow": f'=IF({read},{flow},"")',
        "flow_low": f'=IF({read},{low},"")',
        "flow_high": f'=IF({read},{high},"")',
    }


def outlet_formulas(here: Mapping[str, str], tools: Instruments) -> dict[str, str]:
    """The formula of each verdict of an outlet's line, and of its result.

    Parameters
    ----------
    here : mapping
        Cell of each column on the line. [-]
    tools : Instruments
        Cells of the day. [-]
    """
    seen = [f'{here[name]}="N"' for name in ("pattern", "loss_test")]
    missing = [f'{here[name]}<>"Y"' for name in ("pattern", "loss_test")] + [f"NOT(ISNUMBER({tools.after}))"]
    verdicts = {
        "static_verdict": _gauge_verdict(here["static"], here["static_least"], here["static_most"], tools.gauge),
        "flow_verdict": _flow_verdict(here),
        "pressure_verdict": _gauge_verdict(here["flowing"], here["pressure_least"], here["pressure_most"], tools.gauge),
        "temperature_verdict": _temperature_verdict(here, tools.thermometer),
        "result": _result(here, seen, missing),
    }
    return flow_formulas(here, tools) | _unless_blank(here, verdicts)


def valve_formulas(here: Mapping[str, str], tools: Instruments, groups: str, results: str) -> dict[str, str]:
    """The same of a valve's line: what passes with hot or cold water shut, how soon, the temperature it is set to.

    `groups` and `results` are the columns of the outlets above: their valve and their result.
    """
    leak = _low_and_high(here["static"], here["flowing"], tools)
    verdicts = {
        "static_verdict": _at_most_verdict(f"AND(ISNUMBER({here['static']}),ISNUMBER({here['flowing']}))", leak,
                                           here["pressure_least"]),
        "flow_verdict": _flow_verdict(here),
        "pressure_verdict": _at_most_verdict(f"ISNUMBER({here['pattern']})", _band(here["pattern"], tools.watch),
                                             here["pressure_most"], tools.watch),
        "temperature_verdict": _one_temperature(here, tools.thermometer),
        "result": _result(here, [f'{here["loss_test"]}="N"'], [f'{here["loss_test"]}<>"Y"']),
        "group": _worst_of_group(here["tag"], groups, results),
    }  # fmt: skip
    return flow_formulas(here, tools) | _unless_blank(here, verdicts)


def correction_formulas(here: Mapping[str, str], found: Mapping[str, str], key: str, state: str) -> dict[str, str]:
    """What to correct first: looked up, and only where it belongs to the readings that stand there now.

    Parameters
    ----------
    here : mapping
        Cell of each column on the line. [-]
    found : mapping
        Expression of each column of the correction on this line. [-]
    key, state : str
        Expressions of the line's station and outlet, and of what the windows say about it. [-]
    """
    readings = (
        f"SUM({here['static']}:{here['seconds']},{here['pattern']},{here[FIELD_TIMES[0]]}:{here[FIELD_TIMES[-1]]})"
    )
    near = f"ABS({found['asked']}-{readings})<0.000001*(1+ABS({readings}))"
    text = f'{found["key"]}&""'  # a text of an array compares only so in every program
    fresh = f"IFERROR(IF({text}={key},{near},FALSE),FALSE)"
    failed = f'{here["result"]}="FAIL"'
    shown = {name: f'=IF({failed},IF({fresh},{found[name]}&"",""),"")' for name in ("sheet", "row", "column")}
    for name in ("now", "suggested"):
        shown[name] = f'=IF({failed},IF({fresh},{found[name]},""),"")'
    shown["unit_of_it"] = f'=IF({failed},IF({fresh},{found["unit"]}&"",""),"")'
    unknown = f"IF(LEN({state})>0,{state},{MEASURE_BETTER})"
    words = (f'IF({failed},IF({fresh},{found["sentence"]}&"",{OTHER_READINGS}),'
             f'IF({here["result"]}="UNKNOWN",{unknown},IF({here["result"]}="NOT TESTED",{FILL_ALL},"")))')  # fmt: skip
    shown["first"] = f'=IF({here["found"]}="","",IF({here["found"]}="?",{NO_SUCH_LINE},{words}))'
    return shown


def _unless_blank(here: Mapping[str, str], formulas: Mapping[str, str]) -> dict[str, str]:
    return {name: f'=IF(LEN({here["tag"]})=0,"",{text})' for name, text in formulas.items()}


def _numbers(*cells: str) -> str:
    return "AND(" + ",".join(f"ISNUMBER({cell})" for cell in cells) + ")"


def _band(reading: str, error: str) -> tuple[str, str]:
    """What a reading may be at least and at most."""
    return f"({reading}-{error})", f"({reading}+{error})"


def _judged(low: str, high: str, least: str, most: str, known: str) -> str:
    """A band against its window."""
    inside = f'IF(AND({low}>={least},{high}<={most}),"PASS","{WITHIN}")'
    return f'IF({known},IF(OR({high}<{least},{low}>{most}),"FAIL",{inside}),"UNKNOWN")'


def _gauge_verdict(reading: str, least: str, most: str, gauge: str) -> str:
    judged = _judged(*_band(reading, gauge), least, most, _numbers(least, most, gauge, reading))
    return f'IF(LEN({reading})=0,"NOT TESTED",{judged})'


def _flow_verdict(here: Mapping[str, str]) -> str:
    """Against the window, and against what is required: that must be met whatever bucket and watch may err."""
    flow, low, high, need = here["flow"], here["flow_low"], here["flow_high"], here["need"]
    known = _numbers(here["flow_least"], here["flow_most"], need, low, high)
    judged = _judged(low, high, here["flow_least"], here["flow_most"], known)
    met = f'IF(N({high})<N({need}),"FAIL",IF(AND(N({low})<N({need}),{judged}<>"FAIL"),"UNKNOWN",{judged}))'
    return f'IF(LEN({flow})=0,"NOT TESTED",IF({known},{met},"UNKNOWN"))'


def _low_and_high(volume: str, seconds: str, tools: Instruments) -> tuple[str, str]:
    low = f"(MAX(0,{volume}-{tools.bucket})*60/({seconds}+{tools.watch}))"
    return low, f"IF({seconds}>{tools.watch},({volume}+{tools.bucket})*60/({seconds}-{tools.watch}),1E+99)"


def _at_most_verdict(read: str, band: tuple[str, str], most: str, *errors: str) -> str:
    """A band that must not be above a number; one that may be is UNKNOWN."""
    low, high = band
    judged = f'IF({low}>{most},"FAIL",IF({high}>{most},"UNKNOWN","PASS"))'
    return f'IF(NOT({read}),"NOT TESTED",IF({_numbers(most, *errors)},IFERROR({judged},"UNKNOWN"),"UNKNOWN"))'


def _temperature_verdict(here: Mapping[str, str], error: str) -> str:
    """Tepid as soon as computed and then without a break, as set as soon as the valve's water is there, to the end."""
    cells, times = f"{here[FIELD_TIMES[0]]}:{here[FIELD_TIMES[-1]]}", "{" + ",".join(map(str, FIELD_SECONDS)) + "}"
    names = ("temperature_least", "temperature_most", "limit_least", "limit_most", "tepid", "settled")
    least, most, limit_least, limit_most, tepid, settled = (here[name] for name in names)
    known = f"AND({_numbers(error, *(here[name] for name in names))},COUNT({cells})=COUNTA({cells}))"
    set_, warm = f"ISNUMBER({cells})*({times}>={settled})", f"ISNUMBER({cells})*({times}>={tepid})"

    def outside(low: str, high: str, sign: str) -> str:
        """How far readings lie outside: certainly (+), or perhaps (-)."""
        other = "-" if sign == "+" else "+"
        return f"(({cells}{sign}{error}<{low})+({cells}{other}{error}>{high}))"

    fails = f"SUMPRODUCT({set_}*{outside(least, most, '+')}+{warm}*{outside(limit_least, limit_most, '+')})"
    missing = f"SUMPRODUCT((1-ISNUMBER({cells}))*({times}>=MIN({tepid},{settled})))"
    doubt = f"SUMPRODUCT({warm}*{outside(limit_least, limit_most, '-')})"
    near = f"SUMPRODUCT({set_}*{outside(least, most, '-')})"
    good = f'IF({missing}>0,"NOT TESTED",IF({doubt}>0,"UNKNOWN",IF({near}>0,"{WITHIN}","PASS")))'
    return f'IF(COUNTA({cells})=0,"NOT TESTED",IF({known},IF({fails}>0,"FAIL",{good}),"UNKNOWN"))'


def _one_temperature(here: Mapping[str, str], error: str) -> str:
    reading, names = here[FIELD_TIMES[0]], ("temperature_least", "temperature_most", "limit_least", "limit_most")
    least, most, limit_least, limit_most = (here[name] for name in names)
    known = _numbers(reading, error, least, most, limit_least, limit_most)
    low, high = _band(reading, error)
    window = _judged(low, high, least, most, known)
    doubt = f'IF(OR({low}<{limit_least},{high}>{limit_most}),IF({window}="FAIL","FAIL","UNKNOWN"),{window})'
    sure = f'IF(OR({high}<{limit_least},{low}>{limit_most}),"FAIL",{doubt})'
    return f'IF(LEN({reading})=0,"NOT TESTED",IF({known},{sure},"UNKNOWN"))'


def _result(here: Mapping[str, str], failed: Sequence[str], missing: Sequence[str]) -> str:
    """The worst of the verdicts and of what was seen; a blank is NOT TESTED."""
    cells = [here[name] for name in VERDICTS_OF]

    def any_of(word: str, more: Sequence[str] = ()) -> str:
        return "OR(" + ",".join([*(f'{cell}="{word}"' for cell in cells), *more]) + ")"

    text = f'IF({any_of(WITHIN)},"{WITHIN}","PASS")'
    text = f'IF({any_of("NOT TESTED", missing)},"NOT TESTED",{text})'
    return f'IF({any_of("FAIL", failed)},"FAIL",IF({any_of("UNKNOWN")},"UNKNOWN",{text}))'


def _worst_of_group(tag: str, groups: str, results: str) -> str:
    text = '"no station"'
    for word in reversed(RANKED):
        text = f'IF(SUMPRODUCT(({groups}={tag})*({results}="{word}"))>0,"{word}",{text})'
    return text
