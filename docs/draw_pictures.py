"""Draw the pictures of the README from the demo's job folder: `make demo`, then `python docs/draw_pictures.py`."""

from __future__ import annotations

import re
from pathlib import Path

import resvg_py

HERE = Path(__file__).parent
DEMO = HERE.parent / "build" / "demo"
VINYL, PAPER = "#33404f", "#f4f6f8"


def picture(svg: str, *, width_px: int) -> bytes:
    """Draw an SVG on paper, its size taken from its viewBox."""
    left, top, width, height = (float(v) for v in re.search(r'viewBox="([^"]+)"', svg)[1].split())
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_px}" height="{width_px * height / width:.0f}" '
        f'viewBox="{left} {top} {width} {height}">'
        f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="{PAPER}"/>'
    )
    body = re.sub(r"<\?xml[^>]*>|<svg [^>]*>", "", svg)
    return bytes(resvg_py.svg_to_bytes(svg_string=f'{head}<g fill="{VINYL}">{body.replace("</svg>", "</g></svg>")}'))


def main() -> None:
    """Write every picture."""
    pictures = HERE / "pictures"
    pictures.mkdir(exist_ok=True)
    (pictures / "proof.png").write_bytes((DEMO / "proof.png").read_bytes())
    masks = sorted((DEMO / "masks").glob("*.svg"))
    (pictures / "mask.png").write_bytes(picture(masks[-1].read_text(), width_px=900))
    sheet = DEMO / "sheets" / "sheet-01.svg"
    (pictures / "sheet.png").write_bytes(picture(sheet.read_text(), width_px=900))


if __name__ == "__main__":
    main()
