"""Papers read back the way others read them: text, structure, pictures, codes."""

import io
import json
import re
import subprocess

import pikepdf
import zxingcpp
from PIL import Image


def text(pdf: bytes, *, page: int = 0) -> str:
    """What pdftotext reads, block by block, white space of every width folded; of one page, or of all."""
    return " ".join(_read(pdf, *(["-f", str(page), "-l", str(page)] if page else [])).split())


def rows(pdf: bytes) -> str:
    """The same line by line across the page, as a table is read."""
    return " ".join(_read(pdf, "-layout").split())


def words(pdf: bytes) -> list[tuple[str, float, float, float, float]]:
    """Every word with its left, top, right and lower edge in millimetres, whether the page shows all of it or not."""
    found = re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>', _read(pdf, "-bbox"))
    return [(word, *(float(edge) * 25.4 / 72 for edge in edges)) for *edges, word in found]


def _read(pdf: bytes, *options: str) -> str:
    command = ["pdftotext", "-enc", "UTF-8", *options, "-", "-"]
    return subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode()


def page_count(pdf: bytes) -> int:
    with opened(pdf) as document:
        return len(document.pages)


def opened(pdf: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(pdf))


def figures(pdf: bytes) -> dict:
    """The attached JSON."""
    with opened(pdf) as document:
        return json.loads(document.attachments["figures.json"].get_file().read_bytes())


def image(pdf: bytes, *, page: int = 1, resolution: int = 150) -> Image.Image:
    command = ["pdftoppm", "-png", "-r", str(resolution), "-f", str(page), "-l", str(page), "-"]
    return Image.open(io.BytesIO(subprocess.run(command, input=pdf, capture_output=True, check=True).stdout))


def codes(pdf: bytes, *, page: int = 1) -> list[str]:
    """What a scanner reads off the printed page."""
    return [code.text for code in zxingcpp.read_barcodes(image(pdf, page=page))]


def tags(pdf: bytes) -> list[str]:
    """The structure types of the tag tree, from the top."""
    with opened(pdf) as document:
        return [str(element.S)[1:] for element in _elements(document.Root.StructTreeRoot)]


def picture_texts(pdf: bytes) -> list[str]:
    """What stands for each picture when it is read aloud."""
    with opened(pdf) as document:
        found = _elements(document.Root.StructTreeRoot)
        return [str(element.get("/Alt", "")) for element in found if element.S == "/Figure"]


def _elements(node) -> list:
    found = []
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            found += [kid, *_elements(kid)]
    return found
