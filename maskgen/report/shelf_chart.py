"""The chart of a shelf: every dye from bare to full, every two-dye mixture, each patch measured or predicted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from xml.sax.saxutils import escape

from PIL import Image, ImageDraw, ImageFont

from maskgen.colour.mix import ColourModel
from maskgen.colour.spaces import contrast_ratio
from maskgen.model.dyeing import Dye, Recipe

PATCH_WIDTH, PATCH_HEIGHT, GAP, MARGIN, LABEL_WIDTH = 64, 40, 4, 20, 110
STEPS = (0.0, 1 / 15, 2 / 15, 4 / 15, 8 / 15, 1.0)
"""Shares of the full time shown, beside the times measured."""
CLOSE = 1.4
"""Times of less than this ratio show nearly the same shade."""
TEXT_SIZE, TITLE_SIZE = 11, 14
INK = "#202020"
ENLARGED = 2
"""Pixels per unit in the PNG."""


@dataclass(frozen=True, slots=True)
class _Text:
    x: float
    y: float
    text: str
    size: int = TEXT_SIZE
    colour: str = INK
    middle: bool = False


@dataclass(frozen=True, slots=True)
class _Patch:
    x: float
    y: float
    colour: str
    measured: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """What is to be drawn, in its own units, x to the right, y down."""

    width: int
    height: int
    patches: tuple[_Patch, ...]
    texts: tuple[_Text, ...]


def shelf_chart(model: ColourModel, *, title: str) -> Chart:
    """Lay out the chart."""
    shelf = model.shelf
    patches: list[_Patch] = []
    texts = [
        _Text(MARGIN, MARGIN + TITLE_SIZE, title, TITLE_SIZE),
        _Text(
            MARGIN,
            MARGIN + 32,
            "A black frame and an m: measured. No frame: predicted; dye a coupon before you trust it.",
        ),
    ]
    y = MARGIN + 56.0
    texts.append(_Text(MARGIN, y + TITLE_SIZE, "Each dye, from bare to its full time (minutes)", TITLE_SIZE))
    y += 26
    widest = 0.0
    for dye in shelf.dyes:
        times = _times(dye)
        texts.append(_Text(MARGIN, y + 17, dye.name))
        texts.append(_Text(MARGIN, y + 31, f"{dye.temperature_c:g} °C{'' if dye.strips else ', lasts'}"))
        for column, minutes in enumerate(times):
            x = MARGIN + LABEL_WIDTH + column * (PATCH_WIDTH + GAP)
            _add(patches, texts, model, Recipe.of({dye.name: minutes}), x, y, f"{minutes:g}")
            widest = max(widest, x + PATCH_WIDTH)
        y += PATCH_HEIGHT + GAP
    y += 20
    texts.append(
        _Text(MARGIN, y + TITLE_SIZE, "Two dyes, one over the other: each for a third of its full time", TITLE_SIZE)
    )
    y += 26
    y, right = _add_mixtures(patches, texts, model, y)
    y, lowest = _add_coupons(patches, texts, model, y)
    return Chart(int(max(widest, right, lowest, 700) + MARGIN), int(y + MARGIN), tuple(patches), tuple(texts))


def _times(dye: Dye) -> list[float]:
    """Choose the times shown: all measured ones, bare, full, and steps between that are not close to a measured one."""
    measured = {s.minutes for s in dye.swatch}
    steps = {round(dye.full_minutes * share, 1) for share in STEPS}
    far = {t for t in steps if all(t > CLOSE * m or m > CLOSE * t for m in measured)}
    return sorted({0.0, dye.full_minutes} | measured | far)


def _add_mixtures(patches: list[_Patch], texts: list[_Text], model: ColourModel, y: float) -> tuple[float, float]:
    """Draw the half table of pairs; the diagonal is the dye alone."""
    dyes = model.shelf.dyes
    third = {dye.name: round(dye.full_minutes / 3, 1) for dye in dyes}
    for row, first in enumerate(dyes):
        texts.append(_Text(MARGIN, y + 17, first.name))
        texts.append(_Text(MARGIN, y + 31, f"{third[first.name]:g} min"))
        for column, second in enumerate(dyes[: row + 1]):
            recipe = Recipe.of({first.name: third[first.name], second.name: third[second.name]})
            _add(patches, texts, model, recipe, MARGIN + LABEL_WIDTH + column * (PATCH_WIDTH + GAP), y, "")
        y += PATCH_HEIGHT + GAP
    for column, dye in enumerate(dyes):
        x = MARGIN + LABEL_WIDTH + column * (PATCH_WIDTH + GAP) + PATCH_WIDTH / 2
        texts.append(_Text(x, y + 12, dye.name if len(dye.name) <= 10 else dye.name[:9] + ".", middle=True))
    return y + 20, MARGIN + LABEL_WIDTH + len(dyes) * (PATCH_WIDTH + GAP)


def _add_coupons(patches: list[_Patch], texts: list[_Text], model: ColourModel, y: float) -> tuple[float, float]:
    if not model.shelf.mixes:
        return y, 0.0
    y += 20
    texts.append(_Text(MARGIN, y + TITLE_SIZE, "Mixtures measured on coupons", TITLE_SIZE))
    y += 26
    for mix in model.shelf.mixes:
        _add(patches, texts, model, mix.recipe, MARGIN, y, "")
        words = " + ".join(f"{dye} {minutes:g} min" for dye, minutes in mix.recipe.doses)
        texts.append(_Text(MARGIN + PATCH_WIDTH + 10, y + 24, words))
        y += PATCH_HEIGHT + GAP
    return y, 0.0


def _add(
    patches: list[_Patch], texts: list[_Text], model: ColourModel, recipe: Recipe, x: float, y: float, label: str
) -> None:
    seen = model.predict(recipe)
    patches.append(_Patch(x, y, seen.colour, seen.measured))
    ink = "#000000" if contrast_ratio(seen.colour, "#000000") > contrast_ratio(seen.colour, "#ffffff") else "#ffffff"
    said = f"{label} m".strip() if seen.measured else label
    texts.append(_Text(x + PATCH_WIDTH / 2, y + 16, said, colour=ink, middle=True))
    texts.append(_Text(x + PATCH_WIDTH / 2, y + 31, seen.colour, colour=ink, middle=True))


def chart_svg(chart: Chart) -> bytes:
    """Write the chart as an SVG page."""
    return "\n".join(_svg_lines(chart)).encode()


def _svg_lines(chart: Chart) -> Iterator[str]:
    size = f'width="{chart.width}" height="{chart.height}" viewBox="0 0 {chart.width} {chart.height}"'
    yield f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="DejaVu Sans, Verdana, sans-serif">'
    yield f'<rect width="{chart.width}" height="{chart.height}" fill="#ffffff"/>'
    for p in chart.patches:
        frame = f' stroke="{INK}" stroke-width="2"' if p.measured else ""
        yield (
            f'<rect x="{p.x:g}" y="{p.y:g}" width="{PATCH_WIDTH}" height="{PATCH_HEIGHT}" fill="{p.colour}"{frame}>'
            f"<title>{'measured' if p.measured else 'predicted'}</title></rect>"
        )
    for t in chart.texts:
        anchor = ' text-anchor="middle"' if t.middle else ""
        yield f'<text x="{t.x:g}" y="{t.y:g}" font-size="{t.size}" fill="{t.colour}"{anchor}>{escape(t.text)}</text>'
    yield "</svg>\n"


def chart_png(chart: Chart) -> bytes:
    """Draw the chart as a PNG."""
    image = Image.new("RGB", (chart.width * ENLARGED, chart.height * ENLARGED), "#ffffff")
    draw = ImageDraw.Draw(image)
    for p in chart.patches:
        corners = [p.x, p.y, p.x + PATCH_WIDTH, p.y + PATCH_HEIGHT]
        outline = INK if p.measured else None
        draw.rectangle([c * ENLARGED for c in corners], fill=p.colour, outline=outline, width=2 * ENLARGED)
    for t in chart.texts:
        font = ImageFont.load_default(t.size * ENLARGED)
        draw.text((t.x * ENLARGED, t.y * ENLARGED), t.text, t.colour, font, anchor="ms" if t.middle else "ls")
    out = BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
