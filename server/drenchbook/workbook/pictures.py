"""Pictures of workbooks: printed by LibreOffice to PDF, each page as a PNG with the name of its sheet, to be looked at.

python -m drenchbook.workbook.pictures OUT [FILE...]   every page of the files; without any, of all committed workbooks
python -m drenchbook.workbook.pictures --readme        the pictures in the README, in samples/pictures

Options: --grey draws as a black-and-white printer would; --resolution N in dots per inch.
"""

from __future__ import annotations

import argparse
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drenchbook.errors import InputError
from drenchbook.workbook.layout import COVER, SCHEDULE, SHEETS, WORKED_PATH

RESOLUTION = 90  # dots per inch: a tabloid page is then 1,530 dots wide
LONGEST = 300  # seconds
COMMITTED = ("workbook_templates/*.xlsx", "samples/*.xlsx")
# Pictures of the README: name, sheet of the laboratory, its how-manieth page, dots per inch.
README_SAMPLE, README_FOLDER = Path("samples/laboratory.xlsx"), Path("samples/pictures")
README_PICTURES = (("schedule", SCHEDULE, 1, 100), ("worked_path", WORKED_PATH, 1, 100), ("charts", COVER, 2, 110))
PAPER_MARGIN = 12  # dots of white left around what is drawn
SHADES = 16  # of each colour: letters stay smooth, files stay small


def pictures(workbook: Path, folder: Path, resolution: int = RESOLUTION, grey: bool = False) -> list[Path]:
    """Print a workbook and draw its pages, in order; InputError where a program is missing.

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
            run = ["pdftoppm", "-r", str(resolution), "-f", str(page), "-l", str(page), str(pdf)]
            done = subprocess.run(run, check=True, timeout=LONGEST, capture_output=True)
            drawn.append(folder / f"{name}.png")
            drawn[-1].write_bytes(png_bytes(cropped(read_ppm(done.stdout))))
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


def read_ppm(content: bytes) -> NDArray[np.uint8]:
    """Rows, columns and colours of a picture in the plain format that poppler writes.

    >>> read_ppm(b"P6\\n2 1\\n255\\n" + bytes(range(6))).tolist()
    [[[0, 1, 2], [3, 4, 5]]]
    """
    head = re.match(rb"P6\s+(\d+)\s+(\d+)\s+255\s", content)
    if head is None:
        raise InputError(
            "FILE", content[:12].decode("ascii", "replace"), "is no picture in 256 shades of three colours"
        )
    wide, tall = (int(number) for number in head.groups())
    return np.frombuffer(content, np.uint8, offset=head.end()).reshape(tall, wide, 3)


def cropped(dots: NDArray[np.uint8], margin: int = PAPER_MARGIN) -> NDArray[np.uint8]:
    """The part of a picture that is drawn on, with a margin of paper.

    >>> import numpy as np
    >>> page = np.full((9, 9, 3), 255, np.uint8)
    >>> page[4, 2:5] = 0
    >>> cropped(page, margin=1).shape
    (3, 5, 3)
    """
    drawn = dots.min(axis=2) < 250
    rows, columns = np.flatnonzero(drawn.any(axis=1)), np.flatnonzero(drawn.any(axis=0))
    if not rows.size:
        return dots
    top, left = max(int(rows[0]) - margin, 0), max(int(columns[0]) - margin, 0)
    return dots[top : int(rows[-1]) + margin + 1, left : int(columns[-1]) + margin + 1]


def png_bytes(dots: NDArray[np.uint8]) -> bytes:
    """A picture as PNG, with few shades of each colour; the same dots give the same bytes."""
    tall, wide, _ = dots.shape
    step = 255 / (SHADES - 1)
    few = (np.round(dots / step) * step).astype(np.uint8)
    lines = np.zeros((tall, 1 + 3 * wide), np.uint8)
    flat = few.reshape(tall, 3 * wide)
    lines[0, 1:] = flat[0]
    lines[1:, 0] = 2  # each line as the difference from the one above
    lines[1:, 1:] = flat[1:] - flat[:-1]
    head = struct.pack(">IIBBBBB", wide, tall, 8, 2, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(lines.tobytes(), 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(text)) + kind + text + struct.pack(">I", zlib.crc32(kind + text)) for kind, text in parts
    )


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
        raise InputError(
            "FILE", str(workbook), "gave no result in LibreOffice; is another one of that profile running?"
        )
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
