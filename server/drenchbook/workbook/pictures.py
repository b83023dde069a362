"""Pictures of a workbook: printed by LibreOffice to PDF, each page as a PNG, to be looked at before a release.

python -m drenchbook.workbook.pictures FILE OUT_DIR
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from drenchbook.errors import InputError

RESOLUTION = 90  # dots per inch: a tabloid page is then 1,530 dots wide
LONGEST = 300  # seconds


def pictures(workbook: Path, folder: Path, resolution: int = RESOLUTION) -> list[Path]:
    """Print a workbook and give the pictures of its pages, in order; InputError where a program is missing."""
    for program in ("soffice", "pdftoppm"):
        if shutil.which(program) is None:
            raise InputError("FILE", str(workbook), f"cannot be drawn: the program {program} is not installed")
    folder.mkdir(parents=True, exist_ok=True)
    pdf = printed(workbook, folder)
    for old in folder.glob(f"{workbook.stem}-*.png"):
        old.unlink()
    run = ["pdftoppm", "-r", str(resolution), "-png", str(pdf), str(folder / workbook.stem)]
    subprocess.run(run, check=True, timeout=LONGEST)
    return sorted(folder.glob(f"{workbook.stem}-*.png"))


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


if __name__ == "__main__":
    if len(sys.argv) != 3:
        print(__doc__, file=sys.stderr)
        sys.exit(2)
    for picture in pictures(Path(sys.argv[1]), Path(sys.argv[2])):
        print(picture)
