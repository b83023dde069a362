"""The pages that a browser shows: a home page, and every worksheet function with a form to try it."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable
from html import escape
from importlib.resources import files
from string import Template
from typing import Any

from drenchbook import __version__
from drenchbook.errors import shown
from drenchbook.published.sources import SOURCES
from drenchbook.result_tables import CAUTIONS
from drenchbook.units import SI, US
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TABLE, TEXT, Example, WorksheetFunction
from drenchbook.worksheet_reference import example_formula, signature

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
WHOLE_SHEETS = """<p>Takes whole sheets of a schedule workbook. Recalculate one with <code>drenchbook recalc
site.xlsx</code>, or copy the rows of each sheet, from its heading row down, into the fields below.</p>"""


@functools.cache
def asset(name: str) -> str:
    """One file of the folder `pages`."""
    return (files("drenchbook.hosts") / "pages" / name).read_text(encoding="utf-8")


def home_page(web_port: int | None = None) -> str:
    """What the server is, that it runs, and where to go from here."""
    addin = (
        f'<a href="https://localhost:{web_port}/addin/manifest.xml">its manifest</a> is served at port {web_port}.'
        if web_port
        else "needs a certificate once: <code>drenchbook server --certificate</code>."
    )
    return _filled("home.html", functions=str(len(FUNCTIONS)), addin=addin)


def functions_page(token: str) -> str:
    """Every function of the registry, with arguments, units, source, worked example and a form."""
    return _filled(
        "functions.html",
        token=escape(token),
        contents="\n".join(f'<li><a href="#{f.name}">{f.name}</a></li>' for f in FUNCTIONS),
        sections="\n".join(_section(function) for function in FUNCTIONS),
        sources="\n".join(_source(key) for key in dict.fromkeys(key for f in FUNCTIONS for key in f.sources)),
    )


def _filled(name: str, **parts: str) -> str:
    cautions = "\n".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    return Template(asset(name)).substitute(version=escape(__version__), cautions=cautions, **parts)


def _section(function: WorksheetFunction) -> str:
    sources = ", ".join(f'<a href="#{_anchor(key)}">{escape(key)}</a>' for key in function.sources)
    return f"""<section id="{function.name}" class="function" {_answer_units(function)}>
<h2>{function.name}</h2>
<p>{escape(function.help)}.</p>
<p><code class="signature">{escape(signature(function))}</code></p>
<p class="gives">Gives {escape(_gives(function))}. Source: {sources}.</p>
{_examples(function)}
<form class="try" data-function="{function.name}" autocomplete="off">
{_arguments(function)}
<p class="run"><button type="submit">Calculate</button> <output aria-live="polite"></output></p>
<p class="formula" hidden>In a cell: <code></code></p>
</form>
</section>"""


def _arguments(function: WorksheetFunction) -> str:
    if not function.takes:
        return ""
    rows = "\n".join(_argument(function, place, argument) for place, argument in enumerate(function.takes))
    head = "".join(f"<th scope=col>{name}</th>" for name in ("argument", "value", "US", "SI", "what it is"))
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>\n{rows}\n</tbody></table></div>'


def _argument(function: WorksheetFunction, place: int, argument: Argument) -> str:
    name = f"{function.name}-{argument.name}"
    label = escape(f"[{argument.name}]" if argument.optional else argument.name)
    common = f'id="{name}" data-place="{place}" data-kind="{argument.kind}"'
    if argument.kind == "units":
        field = f'<select {common}><option value="US">US</option><option value="SI">SI</option></select>'
    elif argument.kind == "table":
        field = f'<textarea {common} rows="1" placeholder="rows copied from the sheet"></textarea>'
    elif argument.repeats:
        field = f'<textarea {common} data-repeats rows="3" placeholder="one argument a line"></textarea>'
    else:
        field = f'<input {common} type="text" spellcheck="false" {_left_out(argument)}>'
    cells = (field, _unit(argument, US), _unit(argument, SI), escape(argument.help))
    told = "".join(f"<td>{cell}</td>" for cell in cells)
    return f'<tr><th scope="row"><label for="{name}">{label}</label></th>{told}</tr>'


def _left_out(argument: Argument) -> str:
    if not argument.optional or argument.default is None:
        return ""
    us, si = (_default(argument, system) for system in (US, SI))
    return f'placeholder="{us}" data-default-us="{us}" data-default-si="{si}"'


def _default(argument: Argument, system: str) -> str:
    value = argument.default_in(system)
    return escape(f"{value:.4g}" if isinstance(value, float) else str(value))


def _unit(argument: Argument, system: str) -> str:
    return escape(argument.unit(system))


def _answer_units(function: WorksheetFunction) -> str:
    us, si = _unit_of_answer(function)
    return f'data-unit-us="{escape(us)}" data-unit-si="{escape(si)}"'


def _unit_of_answer(function: WorksheetFunction) -> tuple[str, str]:
    return function.unit(), function.unit(tuple(SI if a.kind == "units" else None for a in function.takes))


def _gives(function: WorksheetFunction) -> str:
    if function.gives == TEXT:
        return "text"
    if function.gives == TABLE:
        return "an array"
    us, si = _unit_of_answer(function)
    return f"a number in {us}, in SI units {si}" if us != si else f"a number in {us}" if us else "a plain number"


def _examples(function: WorksheetFunction) -> str:
    if function.gives == TABLE:
        return WHOLE_SHEETS
    items = "\n".join(f"<li>{_example(function, example)}</li>" for example in function.examples)
    return f'<ul class="examples">\n{items}\n</ul>' if items else ""


def _example(function: WorksheetFunction, example: Example) -> str:
    unit = function.unit(example.cells)
    answer = f"{example.answer} {unit}" if unit else example.answer
    cells = escape(json.dumps([_typed(cell) for cell in example.cells], ensure_ascii=False))
    return f"""<code>{escape(example_formula(function, example.cells))}</code> gives <strong>{escape(answer)}</strong>
({escape(example.how)}) <button type="button" class="fill" data-cells="{cells}">Fill in</button>"""


def _typed(cell: Any) -> str:
    """An example's cell as a person types it into a field."""
    if cell is None or cell == "":
        return ""
    return cell if isinstance(cell, str) else shown(cell)


def _source(key: str) -> str:
    source = SOURCES[key]
    cells: Iterable[str] = (key, source.title, source.how_known)
    return f'<tr id="{_anchor(key)}">' + "".join(f"<td>{escape(text)}</td>" for text in cells) + "</tr>"


def _anchor(key: str) -> str:
    return "source-" + "".join(letter if letter.isalnum() else "-" for letter in key)
