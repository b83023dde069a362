"""Pictures of workbooks: printed by LibreOffice to PDF, each page as a PNG with the name of its sheet, to be looked at.

python -m drenchbook.workbook.pictures OUT [FILE...]   every page of the files; without any, of all committed workbooks
python -m drenchbook.workbook.pictures --readme        the pictures in the README, in samples/pictures

Options: --grey draws as a black-and-white printer would; --resolution N in dots per inch.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from drenchbook.errors import InputError
from drenchbook.workbook.layout import COVER, SCHEDULE, SHEETS, WORKED_PATH

RESOLUTION = 90  # dots per inch: a tabloid page is then 1,530 dots wide
LONGEST = 300  # seconds
COMMITTED = ("workbook_templates/*.xlsx", "samples/*.xlsx")
# Pictures of the README: name, sheet of the laboratory, its how-manieth page, dots per inch.
README_SAMPLE, README_FOLDER = Path("samples/laboratory.xlsx"), Path("samples/pictures")
README_PICTURES = (("schedule", SCHEDULE, 1, 100), ("worked_path", WORKED_PATH, 1, 100), ("charts", COVER, 2, 110))
PAPER_MARGIN = 12  # dots of white left around what is drawn
PAPER = 250  # what is lighter is paper, of 255 shades
COLOURS = 64  # letters stay smooth, files stay small


def pictures(workbook: Path, folder: Path, resolution: int = RESOLUTION, grey: bool = False) -> list[Path]:
    """Print a workbook and draw its pages, in order; InputError where a program or the workbook is missing.

    Parameters
    ----------
    workbook : Path
        An .xlsx file.
    folder : Path
        Where the pictures go, as WORKBOOK-PAGE-SHEET.png; those of an earlier time are removed.
    resolution : int
        Dots per inch.
    grey : bool
        True draws without colours.

    Returns
    -------
    list of Path
        The pictures, one for each page.
    """
    need("soffice", "pdftoppm", "pdftotext")
    if not workbook.is_file():
        raise InputError("FILE", str(workbook), "is not there; name a workbook, or none for the committed ones")
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob(f"{workbook.stem}-[0-9][0-9][0-9]-*.png"):
        old.unlink()
    drawn = []
    with tempfile.TemporaryDirectory() as scratch:
        pdf = printed(workbook, Path(scratch))
        run = ["pdftoppm", "-r", str(resolution), "-png", *(["-gray"] if grey else []), str(pdf), f"{scratch}/page"]
        subprocess.run(run, check=True, timeout=LONGEST)
        pages = sorted(Path(scratch).glob("page-*.png"), key=lambda page: int(page.stem.rsplit("-", 1)[1]))
        for number, (page, sheet) in enumerate(zip(pages, sheets_of_pages(pdf), strict=True), start=1):
            name = re.sub(r"[^a-z0-9]+", "_", sheet.lower()) or "page"
            drawn.append(folder / f"{workbook.stem}-{number:03d}-{name}.png")
            shutil.copyfile(page, drawn[-1])
    return drawn


def readme_pictures(root: Path) -> list[Path]:
    """Draw the pictures that the README shows, from the committed sample; gives their paths."""
    need("soffice", "pdftoppm", "pdftotext")
    folder = root / README_FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    drawn = []
    with tempfile.TemporaryDirectory() as scratch:
        pdf = printed(root / README_SAMPLE, Path(scratch))
        sheets = sheets_of_pages(pdf)
        for name, sheet, place, resolution in README_PICTURES:
            page = [number for number, each in enumerate(sheets, start=1) if each == sheet][place - 1]
            run = ["pdftoppm", "-r", str(resolution), "-png", "-singlefile", "-f", str(page), str(pdf),
                   f"{scratch}/{name}"]  # fmt: skip
            subprocess.run(run, check=True, timeout=LONGEST)
            drawn.append(folder / f"{name}.png")
            trimmed(Path(scratch) / f"{name}.png", drawn[-1])
    return drawn


def need(*programs: str) -> None:
    """InputError that names the program that is missing."""
    for program in programs:
        if shutil.which(program) is None:
            raise InputError("FILE", program, "is not installed; pictures need LibreOffice and poppler")


def sheets_of_pages(pdf: Path) -> list[str]:
    """The sheet of each page, as its foot says; "" where the foot names none of ours."""
    run = ["pdftotext", "-layout", str(pdf), "-"]
    text = subprocess.run(run, check=True, timeout=LONGEST, capture_output=True).stdout.decode()
    found = []
    for page in text.split("\f")[:-1]:
        foot = "\n".join(page.strip().split("\n")[-5:])  # what a page cuts off may stand below
        named = [sheet for sheet in SHEETS if re.search(rf"\.\w+\s+{re.escape(sheet)}\s\s", foot)]
        found.append(max(named, key=len, default=""))
    return found


def trimmed(page: Path, target: Path, margin: int = PAPER_MARGIN) -> None:
    """Write what is drawn on a page, with a margin of paper and few colours; the same page gives the same bytes."""
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise InputError("FILE", "Pillow", "is not installed; it comes with .[test]") from error
    with Image.open(page) as opened:
        picture = opened.convert("RGB")
    drawn = ImageOps.invert(picture.convert("L")).point(lambda shade: shade > 255 - PAPER and 255)
    left, top, right, bottom = drawn.getbbox() or (0, 0, *picture.size)
    wide, tall = picture.size
    box = max(left - margin, 0), max(top - margin, 0), min(right + margin, wide), min(bottom + margin, tall)
    picture.crop(box).quantize(COLOURS).save(target, "PNG", optimize=True)


def printed(workbook: Path, folder: Path) -> Path:
    """The workbook as PDF, as LibreOffice prints it."""
    return converted(workbook, folder, "pdf", ".pdf")


def converted(workbook: Path, folder: Path, form: str, suffix: str) -> Path:
    """A workbook in another form, by LibreOffice with a profile of its own; the file must exist afterwards."""
    target = folder / f"{workbook.stem}{suffix}"
    target.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as profile:
        run = ["soffice", f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", form,
               "--outdir", str(folder), str(workbook)]  # fmt: skip
        subprocess.run(run, check=True, timeout=LONGEST, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if not target.exists():
        raise InputError("FILE", str(workbook), "gave no result in LibreOffice; does it open there?")
    return target


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw what is asked for and print the paths; 2 where something is missing."""
    parser = argparse.ArgumentParser(prog="pictures", description=__doc__.split("\n", 1)[0])
    parser.add_argument("out", nargs="?", type=Path, metavar="OUT", help="folder for the pictures")
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="workbooks; left out: the committed ones")
    parser.add_argument("--readme", action="store_true", help="draw the README's pictures only")
    parser.add_argument("--grey", action="store_true", help="draw without colours")
    parser.add_argument("--resolution", type=int, default=RESOLUTION, help="dots per inch")
    asked = parser.parse_args(arguments)
    root = Path.cwd()
    if asked.out is None and not asked.readme:
        parser.error("name the folder OUT for the pictures, or ask for --readme")
    files = asked.files or [path for pattern in COMMITTED for path in sorted(root.glob(pattern))]
    try:
        drawn = readme_pictures(root) if asked.readme else []
        for file in files if asked.out else ():
            drawn += pictures(file, asked.out, asked.resolution, asked.grey)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    for picture in drawn:
        print(picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
