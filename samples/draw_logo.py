"""Draw the emblem of the Larkmoor Sky Society (an invented club) as a clean PNG and as a poor JPEG.

Run from the top of the repository: `python samples/draw_logo.py`. Same library versions, same bytes.
"""

from __future__ import annotations

import math
from pathlib import Path

import fontpkg
from PIL import Image, ImageDraw, ImageFont

HERE = Path(__file__).parent
WIDTH, HEIGHT = 1200, 600
OVERSAMPLE = 8

SKY = "#1b3f94"
GOLD = "#e8c81e"
HILL = "#2f7d4b"
RUST = "#b5482a"
OFF_WHITE = "#f4f1e6"


def star(centre: tuple[float, float], radius: float, points: int = 5, waist: float = 0.42) -> list[tuple[float, float]]:
    corners = []
    for index in range(2 * points):
        reach = radius if index % 2 == 0 else radius * waist
        angle = math.pi * index / points - math.pi / 2
        corners.append((centre[0] + reach * math.cos(angle), centre[1] + reach * math.sin(angle)))
    return corners


def draw_emblem() -> Image.Image:
    scale = OVERSAMPLE
    image = Image.new("RGBA", (WIDTH * scale, HEIGHT * scale), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)

    def disc(x: float, y: float, radius: float, fill: str) -> None:
        pen.ellipse([(x - radius) * scale, (y - radius) * scale, (x + radius) * scale, (y + radius) * scale], fill=fill)

    def shape(corners: list[tuple[float, float]], fill: str) -> None:
        pen.polygon([(x * scale, y * scale) for x, y in corners], fill=fill)

    disc(300, 300, 290, RUST)
    disc(300, 300, 262, SKY)
    disc(235, 215, 118, GOLD)
    disc(283, 192, 104, SKY)
    for centre, radius, points in [
        ((428, 152), 52, 5),
        ((392, 324), 34, 5),
        ((470, 285), 26, 4),
        ((330, 92), 22, 4),
        ((405, 245), 13, 4),
        ((150, 352), 20, 5),
    ]:
        shape(star(centre, radius, points), GOLD)
    draw_hills(image, scale)
    draw_lettering(pen, scale)
    pen.rectangle([640 * scale, 322 * scale, 1172 * scale - 1, 331 * scale - 1], fill=GOLD)
    return image.resize((WIDTH, HEIGHT), Image.Resampling.BOX)


def draw_hills(image: Image.Image, scale: int) -> None:
    """Two ridges, cut off by the sky's rim."""
    rim = Image.new("L", image.size, 0)
    ImageDraw.Draw(rim).ellipse([(300 - 262) * scale, (300 - 262) * scale, 562 * scale, 562 * scale], fill=255)
    hills = Image.new("L", image.size, 0)
    pen = ImageDraw.Draw(hills)
    far = [(x, 452 - 58 * math.sin((x - 20) / 118) - 16 * math.sin(x / 41)) for x in range(0, 601, 2)]
    pen.polygon([(x * scale, y * scale) for x, y in [*far, (600, 600), (0, 600)]], fill=255)
    near = [(x, 522 - 34 * math.cos((x - 330) / 105)) for x in range(0, 601, 2)]
    path = [(x * scale, y * scale) for x, y in near]
    pen.line(path, fill=0, width=12 * scale)
    both = Image.composite(hills, Image.new("L", image.size, 0), rim)
    image.paste(HILL, (0, 0), both)


def draw_lettering(pen: ImageDraw.ImageDraw, scale: int) -> None:
    file = fontpkg.path("Fjalla One")
    for text, size, baseline in [("LARKMOOR", 140, 288), ("SKY SOCIETY", 116, 470)]:
        font = ImageFont.truetype(str(file), size * scale)
        left, _, right, _ = pen.textbbox((0, 0), text, font=font, anchor="ls")
        x = 906 * scale - (left + right) / 2
        pen.text((x, baseline * scale), text, font=font, fill=SKY, anchor="ls")


def spoil(image: Image.Image) -> Image.Image:
    """The same emblem as somebody found it on a page: small, on off-white."""
    ground = Image.new("RGBA", image.size, OFF_WHITE)
    return Image.alpha_composite(ground, image).convert("RGB").resize((320, 160), Image.Resampling.LANCZOS)


def main() -> None:
    emblem = draw_emblem()
    emblem.save(HERE / "logo.png", optimize=True)
    spoil(emblem).save(HERE / "logo-small.jpg", quality=60)


if __name__ == "__main__":
    main()
