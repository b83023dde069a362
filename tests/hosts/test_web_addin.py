"""The web add-in: its files against the registry, its script in Node and in a browser against the real server."""

import json
import re
import socket
import ssl
import xml.etree.ElementTree as ElementTree

import pytest

from drenchbook.formula_values import serial
from drenchbook.hosts import web_addin, web_icons
from drenchbook.site_file import read_site_file
from drenchbook.site_sheets import full_grids
from drenchbook.site_tables import TABLES
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS, TABLE, TEXT
from tests.hosts import metadata_generator
from tests.hosts.browser import Browser, needed
from tests.hosts.live_server import make_certificate, running
from tests.hosts.web_script import HERE, SHAPES, run_steps

# The public schema of the metadata, by its documentation (learn.microsoft.com, "Manually create JSON metadata for
# custom functions"): the keys of each object, which of them must be there, and what they may hold.
TYPES, DIMENSIONS = {"boolean", "number", "string", "any"}, {"scalar", "matrix"}
TOP = {"$schema": str, "allowErrorForDataTypeAny": bool, "allowCustomDataForDataTypeAny": bool, "functions": list}
FUNCTION = {
    "id": str,
    "name": str,
    "description": str,
    "helpUrl": str,
    "parameters": list,
    "result": dict,
    "options": dict,
}
PARAMETER = {"name": str, "description": str, "type": str, "dimensionality": str, "optional": bool, "repeating": bool}
RESULT = {"type": str, "dimensionality": str}
OPTIONS = dict.fromkeys(("cancelable", "stream", "volatile", "requiresAddress", "requiresParameterAddresses"), bool)
ELEVATION = "DRENCH_ELEVATION_LOSS"
SAMPLE = HERE.parents[1] / "samples" / "laboratory.toml"


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        yield live


def steps(server, tmp_path, *given):
    return run_steps(tmp_path, server.address, *given)


# --- files ------------------------------------------------------------------------------------------------------------


def fits(given, shape, needed_keys):
    assert set(needed_keys) <= set(given) <= set(shape), given
    for key, value in given.items():
        assert isinstance(value, shape[key]), (key, value)


def test_the_metadata_fits_the_public_schema():
    metadata = json.loads(web_addin.metadata_json())
    fits(metadata, TOP, ("functions",))
    for function in metadata["functions"]:
        fits(function, FUNCTION, ("id", "name", "parameters", "result"))
        assert re.fullmatch(r"[A-Za-z][A-Za-z0-9._]{2,127}", function["id"])
        assert re.fullmatch(r"[A-Za-z][A-Za-z0-9._]*", function["name"])
        fits(function["result"], RESULT, ("type",))
        fits(function["options"], OPTIONS, ())
        assert function["result"]["type"] in TYPES
        assert function["result"].get("dimensionality", "scalar") in DIMENSIONS
        names = [parameter["name"] for parameter in function["parameters"]]
        assert len(set(names)) == len(names)
        seen_optional = False
        for parameter in function["parameters"]:
            fits(parameter, PARAMETER, ("name",))
            assert parameter["type"] in TYPES
            assert parameter.get("dimensionality", "scalar") in DIMENSIONS
            assert not (seen_optional and not parameter.get("optional")), (
                "an argument that is needed after one that is not"
            )
            seen_optional = parameter.get("optional", False)
        assert not any(parameter.get("repeating") for parameter in function["parameters"][:-1])


def test_the_public_generator_gives_the_same_metadata():
    """What the npm package custom-functions-metadata made of the same functions, written as a commented script."""
    golden = json.loads(metadata_generator.GOLDEN.read_text(encoding="utf-8"))
    assert golden["of"] == metadata_generator.source().splitlines(), "write it again: tests/hosts/metadata_generator.py"
    ours = {each["id"]: each for each in web_addin.metadata()["functions"]}
    theirs = golden["metadata"]["functions"]
    assert [each["id"] for each in theirs] == list(metadata_generator.CHOSEN)
    for told in theirs:
        told["result"].setdefault("type", "any")  # the generator leaves out what the documentation names the default
        for parameter in told["parameters"]:
            parameter["name"] = parameter["name"].rstrip("_")
        assert told == ours[told["id"]]


def test_the_metadata_says_what_the_registry_says():
    described = {each["id"]: each for each in web_addin.metadata()["functions"]}
    assert list(described) == [function.name for function in FUNCTIONS]
    for function in FUNCTIONS:
        told = described[function.name]
        assert told["name"] == function.name
        assert told["description"] == function.help
        assert [p["name"] for p in told["parameters"]] == [a.name for a in function.takes]
        assert [p.get("optional", False) for p in told["parameters"]] == [a.optional for a in function.takes]
        assert told["result"]["type"] == {TEXT: "string", TABLE: "any", "number": "any"}.get(function.gives, "number")
        for parameter, argument in zip(told["parameters"], function.takes, strict=True):
            assert argument.unit("US") in parameter["description"] or argument.unit("US") == "–"
            assert argument.unit("SI") in parameter["description"] or argument.unit("SI") == "–"


def test_no_argument_is_declared_a_number():
    """A blank cell given for a declared number becomes 0 in the spreadsheet program before anyone can see it."""
    for function in web_addin.metadata()["functions"]:
        assert {parameter["type"] for parameter in function["parameters"]} <= {"any"}
        if function["parameters"]:
            # Their addresses tell blank cells from zeros; they are given only where the result is declared a matrix.
            assert function["options"]["requiresParameterAddresses"] is True
            assert function["result"]["dimensionality"] == "matrix"


def test_the_manifest_is_whole():
    root = ElementTree.fromstring(web_addin.manifest(9999))
    spaces = {"o": "http://schemas.microsoft.com/office/appforoffice/1.1",
              "v": "http://schemas.microsoft.com/office/taskpaneappversionoverrides",
              "b": "http://schemas.microsoft.com/office/officeappbasictypes/1.0"}  # fmt: skip
    order = [child.tag.split("}")[1] for child in root]
    assert order == ["Id", "Version", "ProviderName", "DefaultLocale", "DisplayName", "Description", "IconUrl",
                     "HighResolutionIconUrl", "SupportUrl", "AppDomains", "Hosts", "Requirements", "DefaultSettings",
                     "Permissions", "VersionOverrides"]  # fmt: skip
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", root.findtext("o:Id", namespaces=spaces))
    assert re.fullmatch(r"\d+\.\d+\.\d+\.\d+", root.findtext("o:Version", namespaces=spaces))
    asked = {each.get("resid") for each in root.iter() if each.get("resid")}
    offered = {each.get("id") for each in root.findall(".//v:Resources//*[@id]", spaces)}
    assert asked == offered
    assert (
        root.find(".//v:ExtensionPoint[@{http://www.w3.org/2001/XMLSchema-instance}type='CustomFunctions']", spaces)
        is not None
    )
    for text in re.findall(r'DefaultValue="(http[^"]*)"', web_addin.manifest(9999)):
        assert text.startswith("https://localhost:9999/")
    for short in root.findall(".//b:ShortStrings/b:String", spaces):
        assert len(short.get("DefaultValue")) <= 125
    for long in root.findall(".//b:LongStrings/b:String", spaces):
        assert len(long.get("DefaultValue")) <= 250


def test_each_address_of_the_manifest_is_served(server):
    for address in set(re.findall(r"https://localhost:1(/[^\"<]*)", web_addin.manifest(1))):
        status, _, body = server.request("GET", address, headers={})
        assert status == 200, address
        assert body


@pytest.mark.parametrize("size", web_icons.SIZES)
def test_an_icon_is_a_picture_of_its_size(size, tmp_path):
    from PIL import Image

    file = tmp_path / "icon.png"
    file.write_bytes(web_icons.drop(size))
    with Image.open(file) as picture:
        picture.load()
        assert (picture.size, picture.mode) == ((size, size), "RGBA")
        assert picture.getpixel((0, 0))[3] == 0
        left, right = (
            picture.getpixel((size * 2 // 5, size * 7 // 10)),
            picture.getpixel((size * 3 // 5, size * 7 // 10)),
        )
        assert left[0] > left[2]
        assert right[2] > right[0]


def test_the_files_are_written_and_the_same_each_time(tmp_path):
    names = {path.name for path in web_addin.write_web_addin(tmp_path / "a")}
    assert {"manifest.xml", "functions.json", "functions.js", "functions.html", "taskpane.js"} <= names
    web_addin.write_web_addin(tmp_path / "b")
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_the_command_writes_them_and_says_what_comes_next(tmp_path, capsys):
    from drenchbook.command_line import main

    assert main(["addin", "web", str(tmp_path / "out"), "--port", "9001"]) == 0
    assert "https://localhost:9001/addin/functions.js" in (tmp_path / "out" / "manifest.xml").read_text(
        encoding="utf-8"
    )
    assert "drenchbook server --certificate" in capsys.readouterr().out


# --- the script in Node -----------------------------------------------------------------------------------------------


def test_every_example_has_the_digits_of_the_registry(server, tmp_path):
    calls = [(f.name, example.cells) for f in FUNCTIONS for example in f.examples]
    (told,) = steps(server, tmp_path, calls)
    for (name, cells), answer in zip(calls, told["answers"], strict=True):
        assert answer == {"value": FUNCTION_BY_NAME[name](*cells)}


def test_the_calls_of_one_tick_are_one_request(server, tmp_path):
    (told,) = steps(server, tmp_path, [(ELEVATION, [height]) for height in range(1, 301)])
    assert [len(calls) for calls in told["calls"]] == [300]
    assert told["paths"].count("/v1/batch") == 1


def test_equal_calls_are_sent_once_and_kept(server, tmp_path):
    first, again = steps(server, tmp_path, [(ELEVATION, [10])] * 50, [(ELEVATION, [10]), (ELEVATION, [11])])
    assert [len(calls) for calls in first["calls"]] == [1]
    assert len({json.dumps(answer) for answer in first["answers"]}) == 1
    assert [[call["arguments"] for call in calls] for calls in again["calls"]] == [[[11]]]


def test_a_refusal_is_an_error_value_with_its_sentence(server, tmp_path):
    (told,) = steps(server, tmp_path, [("DRENCH_PIPE_VELOCITY", [-2, "copper L", "1"]), (ELEVATION, [10])])
    assert told["answers"][0] == {"error": "#VALUE!", "message": "flow = -2 gpm: must be zero or more"}
    assert "value" in told["answers"][1]


@pytest.mark.parametrize("blank", [None, ""])
def test_a_blank_is_sent_as_null(server, tmp_path, blank):
    (told,) = steps(
        server, tmp_path, [("DRENCH_ADEQUACY", [blank, 20, "none"]), (ELEVATION, [blank]), (ELEVATION, [0])]
    )
    assert told["answers"][0] == {"value": "UNKNOWN"}
    assert told["answers"][1]["error"] == "#VALUE!"
    assert told["answers"][1]["message"].startswith("rise = blank")
    assert told["answers"][2] == {"value": 0.0}
    assert told["calls"][0][0]["arguments"] == [None, 20, "none"]


SHEETS = {
    "My sheet's": {
        "B2": {"valueTypes": [["Empty"]], "numberFormat": [["General"]]},
        "B3": {"valueTypes": [["Double"]], "numberFormat": [["General"]]},
        "A1:C2": {
            "valueTypes": [["String", "Empty", "Double"], ["Double", "Empty", "Double"]],
            "numberFormat": [["General", "General", "General"], ["yyyy-mm-dd", "General", "0.00"]],
        },
    }
}


def test_a_blank_cell_that_arrives_as_zero_is_blank_again(server, tmp_path):
    """As some desktop versions hand it over: 0, with the address of the cell."""
    calls = [
        (ELEVATION, [0], ["'My sheet''s'!$B$2", None]),
        (ELEVATION, [0], ["'My sheet''s'!B3", None]),
        ("DRENCH_ADEQUACY", [0, 0, 5], ["'[Book 1.xlsx]My sheet''s'!B2", "'My sheet''s'!B3", None]),
    ]
    (told,) = steps(server, tmp_path, {"calls": calls, "state": {"sheets": SHEETS}})
    assert told["answers"][0]["message"].startswith("rise = blank")
    assert told["answers"][1] == {"value": 0.0}
    assert told["answers"][2] == {"value": "UNKNOWN"}
    assert told["runs"] == 1


def test_blanks_and_dates_inside_a_range_are_what_their_cells_are(server, tmp_path):
    """A zero in a blank cell is null, a number in a cell with the look of a date is that date, all else stays."""
    given = [[["a", 0, 0], [46146, 0, 46146]]] + [[["x"]]] * 10
    addresses = ["'My sheet''s'!A1:C2"] + [None] * 10
    (told,) = steps(server, tmp_path, {"calls": [("DRENCH_SITE", given, addresses)], "state": {"sheets": SHEETS}})
    assert told["calls"][0][0]["arguments"][0] == [["a", None, 0], [{"date": "2026-05-04"}, None, 46146]]


def test_a_zero_that_cannot_be_told_from_a_blank_is_no_number(server, tmp_path):
    call = (ELEVATION, [0], ["Sheet1!A1"])
    (told,) = steps(server, tmp_path, {"calls": [call], "state": {"failing": "busy"}})
    assert told["answers"][0]["error"] == "#N/A"
    assert "cannot tell blank cells from zeros (busy)" in told["answers"][0]["message"]
    assert told["calls"] == []


def test_cells_are_asked_only_where_a_number_is_in_doubt(server, tmp_path):
    calls = [(ELEVATION, [10], ["Sheet1!A1"]), (ELEVATION, [0], [None]), (ELEVATION, [0], None)]
    (told,) = steps(server, tmp_path, {"calls": calls, "state": {"failing": "must not be asked"}})
    assert told["runs"] == 0
    assert all("value" in answer for answer in told["answers"])


def test_errors_among_the_arguments(server, tmp_path):
    """One alone stays that error; one inside a table goes to the server as the text that it shows."""
    error = {"type": "Error", "basicType": "Error", "basicValue": "#DIV/0!"}
    table = [[["a", error]]] + [[["x"]]] * 10
    (told,) = steps(server, tmp_path, [(ELEVATION, [error]), ("DRENCH_SITE", table)])
    assert told["answers"][0]["error"] == "#DIV/0!"
    assert told["calls"][0][0]["arguments"][0] == [["a", "#DIV/0!"]]


def test_a_data_type_is_taken_for_its_number_or_refused(server, tmp_path):
    formatted = {"type": "FormattedNumber", "basicValue": 10, "numberFormat": "0.0"}
    (told,) = steps(server, tmp_path, [(ELEVATION, [formatted]), (ELEVATION, [10]), (ELEVATION, [{"type": "Entity"}])])
    assert told["answers"][0] == told["answers"][1]
    assert told["answers"][2]["error"] == "#VALUE!"


def test_reason_takes_any_arguments(server, tmp_path):
    calls = [("DRENCH_REASON", ["DRENCH_PIPE_VELOCITY", -2, "copper L", "1"]), ("DRENCH_REASON", ["DRENCH_STATUS"]),
             ("DRENCH_REASON", [ELEVATION, None])]  # fmt: skip
    (told,) = steps(server, tmp_path, calls)
    assert [answer["value"] for answer in told["answers"]][:2] == ["flow = -2 gpm: must be zero or more", "OK"]
    assert told["answers"][2]["value"].startswith("rise = blank")


def test_an_array_function_gives_rows_without_nulls(server, tmp_path):
    tables = [[["x"]]] * 11
    (told,) = steps(server, tmp_path, [("DRENCH_SITE", [*tables, 3])])
    rows = told["answers"][0]["value"]
    assert len(rows) == 3
    assert all(cell is not None for row in rows for cell in row)


def test_a_server_that_is_down_is_said_and_the_next_calculation_tries_again(tmp_path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{free.getsockname()[1]}"
    first, again = run_steps(tmp_path, address, [(ELEVATION, [10]), (ELEVATION, [11])], [(ELEVATION, [10])])
    for answer in [*first["answers"], *again["answers"]]:
        assert answer["error"] == "#N/A"
        assert (
            answer["message"] == f"the Drenchbook server does not answer at {address}; start it with: drenchbook server"
        )
    assert first["paths"]
    assert again["paths"]


def test_a_server_of_another_version_is_said(server, tmp_path):
    script = re.sub(r'"version": "[^"]*"', '"version": "9.9.9"', web_addin.script(), count=1)
    (told,) = run_steps(tmp_path, server.address, [(ELEVATION, [10])], script=script)
    assert told["answers"][0]["error"] == "#N/A"
    assert "the add-in is of version 9.9.9 and the server of" in told["answers"][0]["message"]


def test_a_refusing_server_is_said(server, tmp_path):
    """A call that is larger than the server takes."""
    (told,) = steps(server, tmp_path, [("DRENCH_ADEQUACY", ["x" * 9_000_000, 1, 2])])
    assert told["answers"][0]["error"] == "#N/A"
    assert re.search(r"refused \(413\)|does not answer", told["answers"][0]["message"])


def test_a_large_tick_is_cut_into_requests_that_the_server_takes(server, tmp_path):
    (told,) = steps(server, tmp_path, [("DRENCH_ADEQUACY", ["x" * 1_500_000 + str(n), 1, 2]) for n in range(5)])
    assert [len(calls) for calls in told["calls"]] == [2, 2, 1]
    assert [answer["value"] for answer in told["answers"]] == ["UNKNOWN"] * 5


def test_a_cancelled_call_ends_and_leaves_the_others(server, tmp_path):
    """Before it is sent it is not sent; when all of a request are cancelled the request is given up."""
    calls = [(ELEVATION, [height]) for height in (21, 22, 23)]
    some, all_of_them, after = run_steps(
        tmp_path,
        server.address,
        {"calls": calls, "cancel": {"places": [1], "after": 0}},
        {"calls": [("DRENCH_ADEQUACY", ["y" * 3_000_000 + str(n), 1, 2]) for n in range(2)],
         "cancel": {"places": [0, 1], "after": 1}},
        [(ELEVATION, [22])],
    )  # fmt: skip
    assert some["answers"][1] == {"error": "#N/A", "message": "cancelled"}
    assert "value" in some["answers"][0]
    assert "value" in some["answers"][2]
    assert [answer["message"] for answer in all_of_them["answers"]] == ["cancelled", "cancelled"]
    assert "value" in after["answers"][0]


def test_one_of_two_equal_calls_may_be_cancelled(server, tmp_path):
    step = {"calls": [(ELEVATION, [31])] * 2, "cancel": {"places": [0], "after": 0}}
    (told,) = steps(server, tmp_path, step)
    assert "value" in told["answers"][1]


def test_the_script_asks_for_a_token_when_the_page_has_none_or_an_old_one(server, tmp_path):
    first, again = steps(server, tmp_path, [(ELEVATION, [10])], [(ELEVATION, [12])])
    assert first["paths"] == ["/addin/functions.html", "/v1/batch"]
    assert again["paths"] == ["/v1/batch"]
    old = "globalThis.document = { querySelector: () => ({ content: 'of an earlier server' }) };\n" + web_addin.script()
    (told,) = run_steps(tmp_path, server.address, [(ELEVATION, [10])], script=old)
    assert told["paths"] == ["/v1/batch", "/addin/functions.html", "/v1/batch"]
    assert "value" in told["answers"][0]


def as_the_desktop_hands_over(grid):
    """A range with blanks as 0 and dates as numbers, and what its cells say when they are asked."""
    cells = [
        [0 if cell is None else serial(cell) if hasattr(cell, "isoformat") else cell for cell in row] for row in grid
    ]
    kinds = [
        ["Empty" if cell is None else "String" if isinstance(cell, str) else "Double" for cell in row] for row in grid
    ]
    formats = [["yyyy-mm-dd" if hasattr(cell, "isoformat") else "General" for cell in row] for row in grid]
    return cells, {"valueTypes": kinds, "numberFormat": formats}


@pytest.mark.parametrize("name", [function.name for function in FUNCTIONS if function.gives == TABLE])
def test_a_whole_site_with_blanks_as_zeros_and_dates_as_numbers_is_the_same_site(server, tmp_path, name):
    grids = full_grids(read_site_file(SAMPLE).site)
    handed = [as_the_desktop_hands_over(grids[table.key]) for table in TABLES]
    state = {"sheets": {table.sheet: {"A1:Z99": cells} for table, (_, cells) in zip(TABLES, handed, strict=True)}}
    call = (name, [cells for cells, _ in handed], [f"'{table.sheet}'!$A$1:$Z$99" for table in TABLES])
    (told,) = steps(server, tmp_path, {"calls": [call], "state": state})
    expected = FUNCTION_BY_NAME[name](*grids.values())
    assert told["answers"][0]["value"] == [["" if cell is None else cell for cell in row] for row in expected]


# --- in a browser, over https -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def secure(tmp_path_factory):
    state = tmp_path_factory.mktemp("secure")
    make_certificate(state)
    with running(state) as live:
        yield live


@pytest.fixture(scope="module")
def pane(secure, tmp_path_factory):
    """The add-in's page in a browser that trusts the authority, with the stand-in before its scripts."""
    import subprocess

    profile = tmp_path_factory.mktemp("profile")
    store = profile / ".pki" / "nssdb"
    store.mkdir(parents=True)
    certutil = [needed("certutil"), "-d", f"sql:{store}"]
    subprocess.run([*certutil, "-N", "--empty-password"], check=True)
    authority = str(secure.state / "authority.pem")
    subprocess.run([*certutil, "-A", "-t", "C,,", "-n", "Drenchbook", "-i", authority], check=True)
    browser = Browser(profile)
    browser.before_each_page((HERE / "web_stub.js").read_text(encoding="utf-8"))
    browser.open(f"https://localhost:{secure.web_port}/addin/functions.html")
    yield browser
    browser.close()


def test_the_browser_trusts_the_page_and_every_function_is_there(pane):
    assert pane.run("location.protocol") == "https:"
    assert pane.run("isSecureContext") is True
    pane.wait("Object.keys(CustomFunctions.associated).length > 0")
    assert pane.run("Object.keys(CustomFunctions.associated)") == [function.name for function in FUNCTIONS]
    pane.wait("document.getElementById('status').textContent.startsWith('The server runs, version')")


def in_browser(pane, name, given):
    call = json.dumps({"function": name, "arguments": list(given)})
    return pane.run(f"standIn.call({call}, {json.dumps(SHAPES[name])})")


def test_the_script_calculates_in_the_browser(pane):
    for function in FUNCTIONS:
        for example in function.examples:
            assert in_browser(pane, function.name, example.cells) == {"value": function(*example.cells)}
    assert in_browser(pane, "DRENCH_PIPE_VELOCITY", [-2, "copper L", "1"]) == {
        "error": "#VALUE!",
        "message": "flow = -2 gpm: must be zero or more",
    }


def test_the_page_loads_nothing_from_elsewhere_but_the_hosts_library(pane, secure):
    asked = {address for address in pane.requested() if not address.startswith(f"https://localhost:{secure.web_port}/")}
    assert asked <= {web_addin.HOST_LIBRARY}


BINDING = """
(async () => {
  const sheets = %s, written = [], cleared = [];
  const range = (sheet, row, column) => ({
    getResizedRange: (rows, columns) => ({ clear: () => cleared.push([sheet, row, column, rows + 1, columns + 1]) }),
    set formulas(value) { written.push([sheet, row, column, value[0][0]]); },
  });
  globalThis.Excel.run = async (work) => work({
    workbook: { worksheets: { load() {}, items: Object.keys(sheets).map((name) => ({
      name,
      getUsedRangeOrNullObject: () => ({ load() {}, isNullObject: !sheets[name].length, formulas: sheets[name],
                                         getCell: (row, column) => {
                                           if (name === "Locked") throw new Error("protected");
                                           return range(name, row, column);
                                         } }),
    })) } },
    async sync() {},
  });
  document.getElementById("bound").textContent = "";
  document.getElementById("bind").click();
  while (document.getElementById("bind").disabled) await new Promise((go) => setTimeout(go, 5));
  return { written, cleared, words: document.getElementById("bound").textContent };
})()
"""


def test_the_button_writes_each_plain_formula_back_to_itself(pane):
    array = "=DRENCH_SITE(Project!A1:B9,10)"
    sheets = {
        "One": [["=DRENCH_STATUS()", 5, '="DRENCH_STATUS()"'],
                ["=SUM(A1:A2)", "DRENCH_STATUS(", "=1+drench_hot_flow (A1)"],
                ["='DRENCH_STATUS('!A1", "", "=IFERROR(DRENCH_STATUS(),\"\")"]],
        "Array": [["x", array, array], ["", array, array], ["", array, array], ["", "", ""]],
        "Empty": [],
        "Locked": [["=DRENCH_STATUS()"]],
        "Plain locked": [["=1"]],
    }  # fmt: skip
    told = pane.run(BINDING % json.dumps(sheets))
    assert told["written"] == [
        ["One", 0, 0, "=DRENCH_STATUS()"],
        ["One", 1, 2, "=1+drench_hot_flow (A1)"],
        ["One", 2, 2, '=IFERROR(DRENCH_STATUS(),"")'],
        ["Array", 0, 1, array],
    ]
    assert told["cleared"] == [["Array", 0, 1, 3, 2]]
    assert told["words"] == "4 formulas bound; these sheets refused, unprotect them first: Locked (protected)"


# --- the certificate --------------------------------------------------------------------------------------------------


def test_the_certificate_holds_for_localhost_and_for_nothing_else(secure):
    from cryptography import x509
    from cryptography.x509.oid import ExtendedKeyUsageOID

    authority = x509.load_pem_x509_certificate((secure.state / "authority.pem").read_bytes())
    leaf = x509.load_pem_x509_certificate((secure.state / "localhost.pem").read_bytes())
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert [str(name.value) for name in limits.value.permitted_subtrees] == ["localhost", "127.0.0.1/32", "::1/128"]
    assert authority.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0
    assert (leaf.not_valid_after_utc - leaf.not_valid_before_utc).days < 398
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert {str(name.value) for name in names} == {"localhost", "127.0.0.1", "::1"}
    assert list(leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value) == [
        ExtendedKeyUsageOID.SERVER_AUTH
    ]
    for key in ("authority.key", "localhost.key"):
        assert (secure.state / key).stat().st_mode & 0o077 == 0


def test_a_client_that_trusts_the_authority_connects(secure):
    context = ssl.create_default_context(cafile=str(secure.state / "authority.pem"))
    with (
        socket.create_connection(("127.0.0.1", secure.web_port), timeout=10) as plain,
        context.wrap_socket(plain, server_hostname="localhost") as wrapped,
    ):
        wrapped.sendall(
            f"GET /v1/health HTTP/1.1\r\nHost: localhost:{secure.web_port}\r\nConnection: close\r\n\r\n".encode()
        )
        assert wrapped.recv(100).startswith(b"HTTP/1.1 200 ")


def test_a_client_that_does_not_trust_it_refuses(secure):
    context = ssl.create_default_context()
    with (
        socket.create_connection(("127.0.0.1", secure.web_port), timeout=10) as plain,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        context.wrap_socket(plain, server_hostname="localhost")


def test_the_authority_cannot_vouch_for_another_name(secure, tmp_path):
    """A certificate for another host, signed with the stolen key, is refused by whoever trusts the authority."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

    authority = x509.load_pem_x509_certificate((secure.state / "authority.pem").read_bytes())
    leaf = x509.load_pem_x509_certificate((secure.state / "localhost.pem").read_bytes())
    signer = serialization.load_pem_private_key((secure.state / "authority.key").read_bytes(), None)
    key = ec.generate_private_key(ec.SECP256R1())
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "bank.example")]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(leaf.not_valid_before_utc)
        .not_valid_after(leaf.not_valid_after_utc)
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("bank.example")]), critical=False)
        .add_extension(x509.ExtendedKeyUsage([x509.OID_SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
        .sign(signer, hashes.SHA256())
    )
    trust = PolicyBuilder().store(Store([authority]))
    assert trust.build_server_verifier(x509.DNSName("localhost")).verify(leaf, [])
    with pytest.raises(VerificationError):
        trust.build_server_verifier(x509.DNSName("bank.example")).verify(forged, [])


def test_the_certificate_command_says_how_to_trust_once_and_keeps_the_authority(tmp_path):
    first = make_certificate(tmp_path)
    for word in ("Windows", "macOS", "Linux", "Firefox", str(tmp_path / "authority.pem"), "localhost only"):
        assert word in first
    authority = (tmp_path / "authority.pem").read_bytes()
    leaf = (tmp_path / "localhost.pem").read_bytes()
    again = make_certificate(tmp_path)
    assert "is trusted as before" in again
    assert (tmp_path / "authority.pem").read_bytes() == authority
    assert (tmp_path / "localhost.pem").read_bytes() != leaf


def test_a_certificate_that_ends_soon_is_renewed_when_the_server_starts(tmp_path, monkeypatch):
    from drenchbook.hosts import server_certificate

    monkeypatch.setenv("DRENCHBOOK_STATE", str(tmp_path))
    assert server_certificate.usable() is None
    monkeypatch.setattr(server_certificate, "LEAF_DAYS", 20)
    server_certificate.make_certificate()
    short = (tmp_path / "localhost.pem").read_bytes()
    monkeypatch.setattr(server_certificate, "LEAF_DAYS", 390)
    assert server_certificate.usable() == (tmp_path / "localhost.pem", tmp_path / "localhost.key")
    assert (tmp_path / "localhost.pem").read_bytes() != short
    kept = (tmp_path / "localhost.pem").read_bytes()
    server_certificate.usable()
    assert (tmp_path / "localhost.pem").read_bytes() == kept


def test_https_has_the_same_guards(secure):
    context = ssl.create_default_context(cafile=str(secure.state / "authority.pem"))
    for head, status in (
        (f"POST /v1/batch HTTP/1.1\r\nHost: localhost:{secure.web_port}\r\nContent-Type: application/json", b"401"),
        ("GET / HTTP/1.1\r\nHost: evil.example", b"421"),
        (f"GET / HTTP/1.1\r\nHost: localhost:{secure.web_port}\r\nOrigin: https://evil.example", b"403"),
    ):
        with (
            socket.create_connection(("127.0.0.1", secure.web_port), timeout=10) as plain,
            context.wrap_socket(plain, server_hostname="localhost") as wrapped,
        ):
            wrapped.sendall(f"{head}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())
            assert wrapped.recv(100).split()[1] == status
