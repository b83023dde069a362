"""The pages in a real browser: every function is there, calculates, says what is wrong, and loads nothing else."""

import json

import pytest

from drenchbook.errors import shown
from drenchbook.result_tables import CAUTIONS
from drenchbook.worksheet_functions import FUNCTIONS, TABLE
from tests.hosts.browser import Browser
from tests.hosts.live_server import running


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        yield live


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    page = Browser(tmp_path_factory.mktemp("profile"))
    yield page
    page.close()


@pytest.fixture
def functions(browser, server):
    browser.open(f"{server.address}/functions")
    return browser


def section(name):
    return f"document.getElementById('{name}')"


def answer_of(browser, name):
    browser.wait(f"{section(name)}.querySelector('output').textContent !== ''")
    return browser.run(f"{section(name)}.querySelector('output').textContent")


def test_the_home_page_says_that_the_server_runs_and_shows_the_cautions(browser, server):
    browser.open(server.address)
    text = browser.run("document.body.innerText")
    assert "The calculation server runs, version" in text
    for caution in CAUTIONS:
        assert caution in text


def test_every_function_with_arguments_units_and_sources_is_on_the_page(functions):
    text = functions.run("document.body.innerText")
    for function in FUNCTIONS:
        part = functions.run(f"{section(function.name)}.innerText")
        assert function.help in part
        for argument in function.takes:
            assert argument.name in part
            assert argument.help in part
        for source in function.sources:
            assert source in part
    for caution in CAUTIONS:
        assert caution in text


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.examples], ids=lambda f: f.name)
def test_the_first_example_is_filled_in_and_calculated(functions, function):
    functions.run(f"{section(function.name)}.querySelector('button.fill').click()")
    told = answer_of(functions, function.name)
    example = function.examples[0]
    if function.gives_number:
        number, _, unit = told.partition(" ")
        # The example's answer is printed with its own number of digits.
        digits = len(example.answer.partition(".")[2])
        assert abs(float(number) - float(example.answer)) <= 0.51 * 10.0**-digits
        assert unit == function.unit(example.cells)
    else:
        assert told == example.answer


def test_typing_and_pressing_the_button_gives_the_answer_or_the_sentence(functions):
    name = "DRENCH_PIPE_VELOCITY"
    for argument, text in (("flow", "20"), ("material", "copper L"), ("size", "3/4")):
        functions.type(f"#{name}-{argument}", text)
    functions.click(f"#{name} button[type=submit]")
    number, unit = answer_of(functions, name).split(" ", 1)
    assert unit == "ft/s"
    assert float(number) == pytest.approx(0.4085 * 20 / 0.785**2, rel=2e-3)  # q in gpm, d = 0.785 in, by hand
    assert functions.run(f"{section(name)}.querySelector('.formula code').textContent") == (
        f'={name}(20,"copper L","3/4","US")'
    )
    functions.run(f"document.getElementById('{name}-flow').value = '-2'")
    functions.click(f"#{name} button[type=submit]")
    functions.wait(f"{section(name)}.querySelector('output').classList.contains('refused')")
    assert answer_of(functions, name) == "#VALUE!  flow = -2 gpm: must be zero or more"


def test_an_empty_field_is_missing_and_not_zero(functions):
    name = "DRENCH_ELEVATION_LOSS"
    functions.click(f"#{name} button[type=submit]")
    assert (
        answer_of(functions, name)
        == "#VALUE!  rise = blank: is blank; give the height of the end above the start in ft"
    )


def test_units_change_the_unit_of_the_answer(functions):
    name = "DRENCH_ELEVATION_LOSS"
    functions.type(f"#{name}-rise", "10")
    functions.run(f"document.getElementById('{name}-units').value = 'SI'")
    functions.click(f"#{name} button[type=submit]")
    number, unit = answer_of(functions, name).split(" ")
    assert unit == "kPa"
    assert float(number) == pytest.approx(0.999 * 9.80665 * 10, rel=1e-4)


def test_text_that_looks_like_markup_or_a_formula_is_shown_as_text(functions):
    name = "DRENCH_REASON"
    functions.type(f"#{name}-function", "<img src=x onerror=alert(1)>")
    functions.type(f"#{name}-arguments", "=HYPERLINK(1)")
    functions.click(f"#{name} button[type=submit]")
    assert "<img src=x onerror=alert(1)>" in answer_of(functions, name)
    assert functions.run(f"{section(name)}.querySelectorAll('img').length") == 0


def test_a_table_function_takes_rows_copied_from_a_sheet(functions):
    name = next(f.name for f in FUNCTIONS if f.gives == TABLE)
    functions.run(f"document.getElementById('{name}-project').value = 'a\\tb\\n1\\t'")
    functions.click(f"#{name} button[type=submit]")
    assert answer_of(functions, name).startswith("#VALUE!  limits = blank")


def test_find_shows_the_functions_that_match(functions):
    functions.type("#find", "stem position")
    shown_ones = functions.run("[...document.querySelectorAll('section.function:not([hidden])')].map(e => e.id)")
    assert "DRENCH_STEM_POSITION" in shown_ones
    assert "DRENCH_REQUIRED_FLOW" not in shown_ones


def test_each_field_has_a_label(functions):
    unlabelled = functions.run(
        "[...document.querySelectorAll('input, select, textarea')].filter(e => !e.labels.length).map(e => e.id)"
    )
    assert unlabelled == []


def test_no_page_asks_for_anything_from_elsewhere_or_complains(browser, server):
    browser.events.clear()
    for path in ("/", "/functions"):
        browser.open(server.address + path)
    assert {address.split("/")[2] for address in browser.requested()} == {f"127.0.0.1:{server.port}"}
    assert browser.complaints() == []


@pytest.mark.parametrize("width", [1200, 800, 390])
def test_no_page_is_wider_than_its_window(browser, server, width, tmp_path):
    for path in ("/", "/functions"):
        browser.open(server.address + path)
        browser.picture(tmp_path / "page.png", width=width, height=900)
        assert browser.run("document.documentElement.scrollWidth") <= width


def test_a_stopped_server_is_said_on_the_page(tmp_path, browser):
    with running(tmp_path / "state") as short:
        browser.open(f"{short.address}/functions")
        short.stop()
    browser.run(f"{section('DRENCH_STATUS')}.querySelector('form').requestSubmit()")
    assert "start it with: drenchbook server" in answer_of(browser, "DRENCH_STATUS")


def test_every_example_can_be_typed():
    """What the fill-in button writes into the fields is what a person would type."""
    for function in FUNCTIONS:
        for example in function.examples:
            for cell in example.cells:
                assert (
                    cell in (None, "")
                    or isinstance(cell, str)
                    or shown(cell) in ("TRUE", "FALSE")
                    or json.loads(shown(cell)) == pytest.approx(cell)
                )
