"""Every part of every workbook against the published format: order of elements, references, and lengths of texts.

The orders are those of ECMA-376 Part 1 (ISO/IEC 29500-1), Annex A: each complex type is one sequence; that of the
worksheet is printed in [MS-OFFMACRO2] v20240820, 2.2.5.1, too. The lengths are those of Excel's published
specifications and limits. A program repairs, or refuses, a file that breaks one of them.
"""

import itertools
import posixpath
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.workbook.packages import MAIN, parts, with_text

ROOT = Path(__file__).parents[2]
COMMITTED = sorted([*ROOT.glob("workbook_templates/*.xlsx"), *ROOT.glob("samples/*.xlsx")])
OFFICE = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}"
PACKAGE = "{http://schemas.openxmlformats.org/package/2006/relationships}"
TYPES = "{http://schemas.openxmlformats.org/package/2006/content-types}"

AXIS = ("axId scaling delete axPos majorGridlines minorGridlines title numFmt majorTickMark minorTickMark tickLblPos "
        "spPr txPr crossAx crosses crossesAt")  # fmt: skip
# Element, or parent/element where its name alone is not enough, and its children in their order.
ORDERS = {
    "worksheet": "sheetPr dimension sheetViews sheetFormatPr cols sheetData sheetCalcPr sheetProtection "
                 "protectedRanges scenarios autoFilter sortState dataConsolidate customSheetViews mergeCells "
                 "phoneticPr conditionalFormatting dataValidations hyperlinks printOptions pageMargins pageSetup "
                 "headerFooter rowBreaks colBreaks customProperties cellWatches ignoredErrors smartTags drawing "
                 "legacyDrawing legacyDrawingHF drawingHF picture oleObjects controls webPublishItems "
                 "tableParts extLst",
    "sheetPr": "tabColor outlinePr pageSetUpPr", "sheetView": "pane selection pivotSelection extLst",
    "row": "c extLst", "c": "f v is extLst", "dataValidation": "formula1 formula2",
    "cfRule": "formula colorScale dataBar iconSet extLst", "conditionalFormatting": "cfRule extLst",
    "headerFooter": "oddHeader oddFooter evenHeader evenFooter firstHeader firstFooter",
    "workbook": "fileVersion fileSharing workbookPr workbookProtection bookViews sheets functionGroups "
                "externalReferences definedNames calcPr oleSize customWorkbookViews pivotCaches smartTagPr "
                "smartTagTypes webPublishing fileRecoveryPr webPublishObjects extLst",
    "styleSheet": "numFmts fonts fills borders cellStyleXfs cellXfs cellStyles dxfs tableStyles colors extLst",
    "xf": "alignment protection extLst", "dxf": "font numFmt fill alignment border protection extLst",
    "border": "start end left right top bottom diagonal vertical horizontal", "patternFill": "fgColor bgColor",
    "si": "t r rPh phoneticPr", "r": "rPr t",
    "chartSpace": "date1904 lang roundedCorners AlternateContent style clrMapOvr pivotSource protection chart spPr "
                  "txPr externalData printSettings userShapes extLst",
    "chart": "title autoTitleDeleted pivotFmts view3D floor sideWall backWall plotArea legend plotVisOnly dispBlanksAs "
             "showDLblsOverMax extLst",
    "title": "tx layout overlay spPr txPr extLst", "legend": "legendPos legendEntry layout overlay spPr txPr extLst",
    "plotArea": "layout barChart scatterChart catAx valAx dTable spPr extLst",
    "barChart": "barDir grouping varyColors ser dLbls gapWidth overlap serLines axId extLst",
    "barChart/ser": "idx order tx spPr invertIfNegative pictureOptions dPt dLbls trendline errBars cat val shape "
                    "extLst",
    "scatterChart": "scatterStyle varyColors ser dLbls axId extLst",
    "scatterChart/ser": "idx order tx spPr marker dPt dLbls trendline errBars xVal yVal smooth extLst",
    "catAx": f"{AXIS} auto lblAlgn lblOffset tickLblSkip tickMarkSkip noMultiLvlLbl extLst",
    "valAx": f"{AXIS} crossBetween majorUnit minorUnit dispUnits extLst",
    "scaling": "logBase orientation max min extLst", "strCache": "ptCount pt extLst",
    "numCache": "formatCode ptCount pt extLst", "twoCellAnchor": "from to sp grpSp graphicFrame cxnSp pic clientData",
    "graphicFrame": "nvGraphicFramePr xfrm graphic", "Relationships": "Relationship",
}  # fmt: skip


@pytest.fixture(params=["built", "built blank", *COMMITTED], ids=lambda which: getattr(which, "name", which))
def book(request, tmp_path):
    """A workbook of today's code, or a committed one, as its parts."""
    if isinstance(request.param, Path):
        return parts(request.param)
    path = tmp_path / "book.xlsx"
    path.write_bytes(request.getfixturevalue("lab_bytes" if request.param == "built" else "blank_si_bytes"))
    return parts(path)


def short(name):
    return name.rsplit("}", 1)[-1]


def out_of_order(content):
    """Each element of a part whose children break the published order."""
    found = []
    for parent, element in pairs(ElementTree.fromstring(content)):
        name = short(element.tag)
        order = ORDERS.get(f"{parent}/{name}", ORDERS.get(name))
        if order is None:
            continue
        children = [short(child.tag) for child in element]
        places = order.split()
        unknown = [child for child in children if child not in places]
        if unknown:
            found.append(f"{name}: {unknown} has no place there")
        elif [places.index(child) for child in children] != sorted(places.index(child) for child in children):
            found.append(f"{name}: {children}")
        if name == "worksheet":
            twice = {child for child in children if children.count(child) > 1} - {"conditionalFormatting"}
            found += [f"{name}: {child} stands there more than once" for child in twice]
    return found


def pairs(root):
    """Every element with the name of its parent."""
    waiting = [("", root)]
    while waiting:
        parent, element = waiting.pop()
        yield parent, element
        waiting += [(short(element.tag), child) for child in element]


def test_elements_stand_in_the_published_order(book):
    looked_at = 0
    for name, content in book.items():
        if name.endswith((".xml", ".rels")):
            assert out_of_order(content) == [], name
            looked_at += 1
    assert looked_at > 30


def test_an_element_out_of_order_is_found(lab):
    """The check itself: a page set-up moved above its margins, and a value above its formula."""
    with_text(lab, "xl/worksheets/sheet1.xml", b"<sheetData>", b"<mergeCells/><sheetData>")
    assert "worksheet: [" in out_of_order(parts(lab)["xl/worksheets/sheet1.xml"])[0]
    assert out_of_order(b"<c><v>1</v><f>A1</f></c>") == ["c: ['v', 'f']"]
    assert out_of_order(b"<row><is/></row>") == ["row: ['is'] has no place there"]


def test_every_part_is_named_and_every_reference_has_its_part(book):
    types = ElementTree.fromstring(book["[Content_Types].xml"])
    named = {entry.get("PartName", "").lstrip("/") for entry in types.iter(f"{TYPES}Override")}
    endings = {entry.get("Extension") for entry in types.iter(f"{TYPES}Default")}
    assert named <= set(book)
    for name in set(book) - named - {"[Content_Types].xml"}:
        assert name.rsplit(".", 1)[1] in endings - {"xml"}, f"{name} has no content type"
    for name, content in book.items():
        if not name.endswith(".rels"):
            continue
        folder = posixpath.dirname(posixpath.dirname(name))
        ids = []
        for relation in ElementTree.fromstring(content).iter(f"{PACKAGE}Relationship"):
            ids.append(relation.get("Id"))
            if relation.get("TargetMode") != "External":
                target = relation.get("Target", "")
                path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
                assert path.lstrip("./") in book, (name, target)
        assert len(ids) == len(set(ids)), name
        owner = book[posixpath.join(folder, posixpath.basename(name).removesuffix(".rels"))] if folder else b""
        asked = set(re.findall(rb'r:(?:id|embed|link)="(\w+)"', owner))
        assert {one.decode() for one in asked} <= set(ids), name


def test_rows_and_cells_rise_and_what_they_refer_to_is_there(book):
    styles = ElementTree.fromstring(book["xl/styles.xml"])
    counts = {name: len(styles.find(f"{MAIN}{name}")) for name in ("cellXfs", "dxfs", "fonts", "fills", "borders")}
    for xf in styles.find(f"{MAIN}cellXfs"):
        for name, listed in (("fontId", "fonts"), ("fillId", "fills"), ("borderId", "borders")):
            assert int(xf.get(name)) < counts[listed]
    texts = len(ElementTree.fromstring(book["xl/sharedStrings.xml"]))
    for name, content in book.items():
        if not name.startswith("xl/worksheets/sheet"):
            continue
        sheet, above = ElementTree.fromstring(content), 0
        for row in sheet.find(f"{MAIN}sheetData"):
            assert int(row.get("r")) > above, name
            above, before = int(row.get("r")), (0, "")
            for cell in row:
                letters = cell.get("r").removesuffix(str(above))
                assert before < (len(letters), letters), (name, cell.get("r"))
                before = (len(letters), letters)
                assert int(cell.get("s", "0")) < counts["cellXfs"]
                if cell.get("t") == "s":
                    assert int(cell.find(f"{MAIN}v").text) < texts
        rules = list(sheet.iter(f"{MAIN}cfRule"))
        assert all(int(rule.get("dxfId", "0")) < max(counts["dxfs"], 1) for rule in rules), name
        assert all(int(rule.get("priority")) > 0 for rule in rules), name


def test_texts_are_no_longer_than_programs_take(book):
    """Formula 8,192 signs, list 255, prompt and warning 255, their titles 32, sheet name 31, text of a cell 32,767."""
    for name, content in book.items():
        if not name.startswith("xl/worksheets/sheet"):
            continue
        sheet = ElementTree.fromstring(content)
        assert all(len(formula.text or "") <= 8192 for formula in sheet.iter(f"{MAIN}f")), name
        for rule in sheet.iter(f"{MAIN}dataValidation"):
            for attribute, most in (("promptTitle", 32), ("errorTitle", 32), ("prompt", 255), ("error", 255)):
                assert len(rule.get(attribute, "")) <= most, (name, rule.get("sqref"))
            assert len(rule.findtext(f"{MAIN}formula1", "")) <= 257, (name, rule.get("sqref"))
        foot = sheet.findtext(f"{MAIN}headerFooter/{MAIN}oddFooter", "")
        assert 0 < len(foot) <= 255, name
    workbook = ElementTree.fromstring(book["xl/workbook.xml"])
    sheets = [sheet.get("name", "") for sheet in workbook.iter(f"{MAIN}sheet")]
    assert all(0 < len(name) <= 31 and not set(name) & set("[]:*?/\\") for name in sheets)
    assert len({name.casefold() for name in sheets}) == len(sheets)
    names = [(one.get("name", "").casefold(), one.get("localSheetId")) for one in workbook.iter(f"{MAIN}definedName")]
    assert len(names) == len(set(names)), "no name stands twice"
    assert all(one.get("localSheetId") is None or int(one.get("localSheetId")) < len(sheets)
               for one in workbook.iter(f"{MAIN}definedName"))  # fmt: skip
    texts = ElementTree.fromstring(book["xl/sharedStrings.xml"])
    assert all(len("".join(text.itertext())) <= 32767 for text in texts)


def test_areas_of_one_kind_do_not_overlap(book):
    """Two validations of one cell make a program repair the file; so does an array that meets another."""
    from openpyxl.utils.cell import range_boundaries

    for name, content in book.items():
        if not name.startswith("xl/worksheets/sheet"):
            continue
        sheet = ElementTree.fromstring(content)
        areas = [area for rule in sheet.iter(f"{MAIN}dataValidation") for area in rule.get("sqref").split()]
        arrays = [formula.get("ref") for formula in sheet.iter(f"{MAIN}f") if formula.get("t") == "array"]
        for kind in (areas, arrays):
            boxes = [range_boundaries(area) for area in kind]
            for one, other in itertools.combinations(boxes, 2):
                apart = one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1]
                assert apart, (name, one, other)
