"""The drawing of a checked file with every finding marked and numbered, as SVG or PNG."""

from __future__ import annotations

import io
from html import escape

import numpy as np

from maskgen.check.cutfile import Analysis
from maskgen.model.finding import Finding, Severity
from maskgen.model.paths import Points

COLOURS = {Severity.ERROR: "#b3261e", Severity.WARNING: "#a15c00", Severity.NOTE: "#2f5d8a"}
PNG_WIDTH = 1600
LIST_ROWS = 40
_SHOWN_MM = 0.02


def _frame(analysis: Analysis) -> tuple[float, float, float, float]:
    points = [line.points for line in analysis.lines]
    page = analysis.found.drawing.page
    if page is not None:
        points.append(np.array([[page.left, page.top], [page.left + page.width, page.top + page.height]]))
    marks = [f.at_mm for f in analysis.judgement.findings if f.at_mm is not None]
    points.extend(np.array([m]) for m in marks)
    if not points:
        return 0.0, 0.0, 10.0, 10.0
    all_points = np.vstack(points)
    (left, top), (right, bottom) = all_points.min(axis=0), all_points.max(axis=0)
    margin = 0.06 * max(right - left, bottom - top, 1.0)
    return float(left - margin), float(top - margin), float(right + margin), float(bottom + margin)


def write_check_svg(analysis: Analysis, *, listed: bool = True) -> bytes:
    """Draw vinyl grey, cut lines dark, findings as numbered marks; with `listed` their messages below."""
    left, top, right, bottom = _frame(analysis)
    unit = max(right - left, bottom - top) / 100
    width = right - left
    findings = analysis.judgement.findings
    rows = min(len(findings), LIST_ROWS) + (len(findings) > LIST_ROWS) if listed else 0
    height = bottom - top + (rows * 2.6 + 2) * unit if listed and findings else bottom - top
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left:.3f} {top:.3f} {width:.3f} {height:.3f}" '
        f'width="{PNG_WIDTH}" role="img" font-family="sans-serif">',
        f'<rect x="{left:.3f}" y="{top:.3f}" width="{width:.3f}" height="{height:.3f}" fill="#ffffff"/>',
    ]
    page = analysis.found.drawing.page
    if page is not None:
        parts.append(
            f'<rect x="{page.left:.3f}" y="{page.top:.3f}" width="{page.width:.3f}" height="{page.height:.3f}" '
            f'fill="none" stroke="#9aa0a6" stroke-width="{0.15 * unit:.4f}" stroke-dasharray="{unit:.3f}"/>'
        )
    parts.extend(f'<path fill="#d5dbe1" fill-rule="evenodd" d="{data}"/>' for data in _vinyl(analysis))
    lines = "".join(_data(line.points, line.closed) for line in analysis.lines)
    parts.append(f'<path fill="none" stroke="#1f2933" stroke-width="{0.18 * unit:.4f}" d="{lines}"/>')
    parts.extend(_mark(number, finding, unit) for number, finding in enumerate(findings, 1))
    if listed:
        parts.extend(_list(findings, left + unit, bottom + 2 * unit, unit))
    return "\n".join([*parts, "</svg>", ""]).encode()


def _vinyl(analysis: Analysis) -> list[str]:
    lines, nest = analysis.lines, analysis.pieces
    return ["".join(_data(lines[nest.lines[k]].points, True) for k in (outer, *holes)) for outer, holes in nest.pieces]


def _data(points: Points, closed: bool) -> str:
    kept = points[np.r_[True, np.abs(np.diff(points, axis=0)).max(axis=1) > _SHOWN_MM]] if len(points) > 400 else points
    words = " ".join(f"{x:.3f} {y:.3f}" for x, y in kept.tolist())
    return f"M{words}{'Z' if closed else ''}"


def _mark(number: int, finding: Finding, unit: float) -> str:
    if finding.at_mm is None:
        return ""
    (x, y), colour = finding.at_mm, COLOURS[finding.severity]
    nx, ny = x + 1.9 * unit, y - 1.9 * unit
    return (
        f"<g><title>{escape(finding.message)}</title>"
        f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{1.1 * unit:.3f}" fill="none" stroke="{colour}" '
        f'stroke-width="{0.3 * unit:.3f}"/>'
        f'<circle cx="{nx:.3f}" cy="{ny:.3f}" r="{1.2 * unit:.3f}" fill="{colour}"/>'
        f'<text x="{nx:.3f}" y="{ny + 0.55 * unit:.3f}" font-size="{1.6 * unit:.3f}" fill="#ffffff" '
        f'text-anchor="middle">{number}</text></g>'
    )


def _list(findings: tuple[Finding, ...], x: float, y: float, unit: float) -> list[str]:
    rows = []
    for k, finding in enumerate(findings[:LIST_ROWS]):
        text = escape(f"{k + 1}  {finding.code.value}: {finding.message}"[:130])
        rows.append(_row(text, x, y + 2.6 * unit * k, unit, COLOURS[finding.severity]))
    if len(findings) > LIST_ROWS:
        rest = f"and {len(findings) - LIST_ROWS} more"
        rows.append(_row(rest, x, y + 2.6 * unit * LIST_ROWS, unit, "#1f2933"))
    return rows


def _row(text: str, x: float, y: float, unit: float, colour: str) -> str:
    return f'<text x="{x:.3f}" y="{y:.3f}" font-size="{1.5 * unit:.3f}" fill="{colour}">{text}</text>'


def write_check_png(analysis: Analysis) -> bytes:
    """Draw the same as a PNG, 1600 pixels wide, twice as fine inside for smooth edges."""
    from PIL import Image, ImageDraw, ImageFont

    left, top, right, bottom = _frame(analysis)
    findings = analysis.judgement.findings
    scale = 2 * PNG_WIDTH / (right - left)
    scale = min(scale, 2 * 2400 / (bottom - top))
    unit = max(right - left, bottom - top) / 100 * scale
    width, height = round((right - left) * scale), round((bottom - top) * scale)
    rows = min(len(findings), LIST_ROWS) + (len(findings) > LIST_ROWS)
    image = Image.new("RGB", (width, height + round((rows * 44 + 30) * 2 if rows else 0)), "#ffffff")
    pen = ImageDraw.Draw(image)

    def placed(points: Points) -> list[tuple[float, float]]:
        return [((x - left) * scale, (y - top) * scale) for x, y in points.tolist()]

    page = analysis.found.drawing.page
    if page is not None:
        box = np.array([[page.left, page.top], [page.left + page.width, page.top + page.height]])
        pen.rectangle([p for corner in placed(box) for p in corner], outline="#9aa0a6", width=2)
    nest, lines = analysis.pieces, analysis.lines
    for place in np.argsort(nest.depth, kind="stable").tolist():
        colour = "#d5dbe1" if nest.is_vinyl(place) else "#ffffff"
        pen.polygon(placed(lines[nest.lines[place]].points), fill=colour)
    for line in lines:
        points = placed(line.points)
        pen.line([*points, points[0]] if line.closed else points, fill="#1f2933", width=max(2, round(0.18 * unit)))
    font = ImageFont.load_default(size=max(12.0, 1.7 * unit))
    for number, finding in enumerate(findings, 1):
        if finding.at_mm is None:
            continue
        ((x, y),) = placed(np.array([finding.at_mm]))
        colour = COLOURS[finding.severity]
        r = 1.1 * unit
        pen.ellipse((x - r, y - r, x + r, y + r), outline=colour, width=max(2, round(0.3 * unit)))
        cx, cy, r = x + 1.9 * unit, y - 1.9 * unit, 1.3 * unit
        pen.ellipse((cx - r, cy - r, cx + r, cy + r), fill=colour)
        pen.text((cx, cy), str(number), fill="#ffffff", font=font, anchor="mm")
    small = ImageFont.load_default(size=52.0)
    for k, finding in enumerate(findings[:LIST_ROWS]):
        text = f"{k + 1}  {finding.code.value}: {finding.message}"[:118]
        pen.text((30, height + 20 + 88 * k), text, fill=COLOURS[finding.severity], font=small)
    if len(findings) > LIST_ROWS:
        rest = f"and {len(findings) - LIST_ROWS} more"
        pen.text((30, height + 20 + 88 * LIST_ROWS), rest, fill="#1f2933", font=small)
    out = io.BytesIO()
    image.resize((image.width // 2, image.height // 2), Image.Resampling.BOX).save(out, "PNG")
    return out.getvalue()
