"""The report in a real browser: every control used, nothing fetched, nothing complained of, usable by everybody.

Skipped where there is no Chromium, unless BROWSER_REQUIRED is set (as it is in `.ci/run`). Screenshots go to the
folder named in SCREENSHOTS, else to the test's own.
"""

import dataclasses
import io
import os
import re
import shutil
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from maskgen.model.finding import Code, Finding, Severity
from maskgen.report.page import write_report

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
REQUIRED = bool(os.environ.get("BROWSER_REQUIRED"))
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}

pytestmark = pytest.mark.skipif(
    BROWSER is None and not REQUIRED, reason="no Chromium on this machine: apt-get install chromium"
)


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    assert BROWSER is not None, "no Chromium on this machine, and BROWSER_REQUIRED is set"
    with sync_playwright() as playwright:
        engine = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        yield engine
        engine.close()


@pytest.fixture(scope="module")
def many(result):
    """The small job with 200 findings of two kinds, one of them an error."""
    found = [
        Finding(
            Code.THIN_LAND,
            Severity.WARNING,
            f"M1: vinyl only {0.2 + n / 500:.2f} mm wide",
            "thicken this place",
            at_mm=(2.0 + n % 20 * 2.8, 3.0 + n // 20 * 2.4),
            mask="M1",
            value=0.2 + n / 500,
            limit=0.8,
        )
        for n in range(199)
    ]
    worst = Finding(
        Code.CREEP_OVERRUN, Severity.ERROR, "M1: eaten through", "widen it", (30.0, 12.0), "M1", value=0.1, limit=0.4
    )
    return dataclasses.replace(result, findings=(*found, worst))


@pytest.fixture(scope="module")
def report(many, tmp_path_factory):
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_bytes(write_report(many))
    return path


class Opened:
    """A page that remembers what it asked for and what it complained of."""

    def __init__(self, browser, report, **options):
        self.context = browser.new_context(**options)
        self.asked, self.complaints = [], []
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(report.as_uri())

    def __enter__(self):
        return self.page

    def __exit__(self, kind, *_):
        asked = [url for url in self.asked if not url.startswith(("file:", "data:"))]
        self.context.close()
        if kind is None:
            assert asked == []
            assert self.complaints == []


def shown_steps(page):
    return page.locator(".walk > ol > li:visible").all_inner_texts()


def test_the_walk_steps_by_buttons_and_arrow_keys(browser, report, many):
    count = len(many.plan.sequence.steps)
    with Opened(browser, report, viewport=DESK) as page:
        told = page.locator(".walk output")
        assert told.inner_text() == f"step 1 of {count}"
        page.get_by_role("button", name="step on").click()
        assert told.inner_text() == f"step 2 of {count}"
        heard = page.locator(".walk .heard[aria-live=polite]").text_content()
        assert heard.startswith(f"step 2 of {count}. 2. ")
        assert "Open: " in heard
        assert shown_steps(page)[0].startswith("2.")
        page.keyboard.press("ArrowRight")
        assert shown_steps(page)[0].startswith("3.")
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("End")
        assert shown_steps(page)[0].startswith(f"{count}.")
        assert len(shown_steps(page)) == 1
        page.keyboard.press("ArrowRight")
        assert told.inner_text() == f"step {count} of {count}"
        page.get_by_role("button", name="step back").click()
        assert told.inner_text() == f"step {count - 1} of {count}"
        page.keyboard.press("Home")
        assert page.get_by_role("button", name="step back").get_attribute("aria-disabled") == "true"
        assert told.inner_text() == f"step 1 of {count}"


def view_box(locator):
    return [float(v) for v in locator.get_attribute("viewBox").split()]


def test_a_finding_is_looked_at_from_near(browser, report):
    with Opened(browser, report, viewport=DESK) as page:
        assert not page.locator("#places").is_visible()
        page.locator("button.place").first.click()
        left, top, width, height = view_box(page.locator("#places svg"))
        assert width < 20
        assert (left + width / 2, top + height / 2) == pytest.approx((30.0, 12.0), abs=0.05)
        assert page.locator("#places .told").inner_text() == "M1: eaten through"
        assert page.locator("#places [data-film=M1]").is_visible()
        assert not page.locator("#places [data-film=M2]").is_visible()
        page.locator("summary").first.click()
        page.locator(".spots button").nth(5).click()
        assert page.locator("#places .told").inner_text().startswith("M1: vinyl only 0.21")


def test_many_findings_do_not_drown_the_page(browser, report, result, tmp_path):
    few = tmp_path / "few.html"
    few.write_bytes(write_report(dataclasses.replace(result, findings=())))
    heights = []
    for path in (few, report):
        with Opened(browser, path, viewport=DESK) as page:
            heights.append(page.evaluate("document.documentElement.scrollHeight"))
    assert heights[1] - heights[0] < 600  # 200 findings take less than two thirds of a desk's screen
    with Opened(browser, report, viewport=DESK) as page:
        tags = page.locator(".findings > li .tag").all_inner_texts()
        assert tags == ["must be mended", "look at this"]  # the worst first


def test_measuring_by_keys_and_by_pointer_gives_the_distance(browser, report):
    with Opened(browser, report, viewport=DESK) as page:
        look = page.locator("#masks ~ .grid figure.look").first
        pane, told = look.locator(".pane"), look.locator("output")
        pane.focus()
        page.keyboard.press("Enter")
        for _ in range(30):
            page.keyboard.press("Shift+ArrowRight")
        for _ in range(40):
            page.keyboard.press("Shift+ArrowDown")
        page.keyboard.press("Enter")
        assert told.inner_text().startswith("5.00 mm apart (3.00 across, 4.00 down)")
        assert look.locator("svg line").first.is_visible()
        svg = look.locator("svg")
        box, (_, _, width, height) = svg.bounding_box(), view_box(svg)
        per_mm = min(box["width"] / width, box["height"] / height)
        for x, y in ((100, 80), (100 + 20 * per_mm, 80)):
            page.mouse.click(box["x"] + x, box["y"] + y)
        assert float(re.match(r"[\d.]+", told.inner_text())[0]) == pytest.approx(20.0, abs=0.1)


def test_drawings_zoom_by_keys_and_buttons_and_come_back(browser, report):
    with Opened(browser, report, viewport=DESK) as page:
        look = page.locator("#masks ~ .grid figure.look").first
        svg, whole = look.locator("svg"), view_box(look.locator("svg"))
        look.locator(".pane").focus()
        page.keyboard.press("+")
        assert view_box(svg)[2] == pytest.approx(0.6 * whole[2])
        look.get_by_role("button", name="further away").click()
        assert view_box(svg)[2] == pytest.approx(whole[2])
        look.get_by_role("button", name="closer").click()
        look.get_by_role("button", name="whole").click()
        assert view_box(svg) == pytest.approx(whole)


def test_the_wheel_scrolls_the_page_and_zooms_only_with_control(browser, report):
    with Opened(browser, report, viewport=DESK) as page:
        svg = page.locator("#masks ~ .grid figure.look svg").first
        svg.scroll_into_view_if_needed()
        svg.hover()
        whole, before = view_box(svg), page.evaluate("scrollY")
        page.mouse.wheel(0, 120)
        page.wait_for_function(f"scrollY > {before}")
        assert view_box(svg) == whole
        svg.hover()
        page.keyboard.down("Control")
        page.mouse.wheel(0, -120)
        page.keyboard.up("Control")
        drawn = "document.querySelector('#masks ~ .grid figure.look svg').viewBox.baseVal.width"
        page.wait_for_function(f"{drawn} < {whole[2]}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_a_checker_of_accessibility_finds_no_fault(browser, report, scheme, screen):
    """Rules of axe-core for WCAG 2.0 to 2.2, levels A and AA, contrast among them."""
    rules = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    with Opened(browser, report, viewport=screen, color_scheme=scheme) as page:
        page.locator("summary").first.click()
        page.locator("button.place").first.click()
        page.evaluate(rules)
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
        found = page.evaluate("tags => axe.run(document, {runOnly: tags})", tags)
        assert found["passes"], "the checker checked nothing"
        assert any(rule["id"] == "color-contrast" for rule in found["passes"])
        faults = [(v["id"], v["impact"], v["nodes"][0]["html"][:120]) for v in found["violations"]]
        assert faults == []


@pytest.mark.parametrize(
    ("name", "screen", "scheme"), [("phone", PHONE, "light"), ("desk", DESK, "light"), ("dark", DESK, "dark")]
)
def test_the_page_fits_its_screen(browser, report, tmp_path, name, screen, scheme):
    with Opened(browser, report, viewport=screen, color_scheme=scheme) as page:
        wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1], "the page has to be pushed sideways"
        picture = page.screenshot(full_page=True)
        sizes = page.evaluate(
            "[...document.querySelectorAll('button:not([hidden])')].map(b => b.getBoundingClientRect())"
            ".filter(r => r.width > 0).map(r => [r.width, r.height])"
        )
    assert min(min(size) for size in sizes) >= 24  # WCAG 2.2, 2.5.8: targets of 24 CSS pixels
    Path(os.environ.get("SCREENSHOTS", tmp_path), f"report-{name}.png").write_bytes(picture)
    pixels = np.asarray(Image.open(io.BytesIO(picture)).convert("L"))
    assert (pixels[:, :6].mean() < 60) == (scheme == "dark")


def test_print_has_every_step_and_no_controls(browser, report, many, tmp_path):
    from pypdf import PdfReader

    with Opened(browser, report, viewport=DESK) as page:
        paper = page.pdf(format="A4")
    Path(os.environ.get("SCREENSHOTS", tmp_path), "report-print.pdf").write_bytes(paper)
    reader = PdfReader(io.BytesIO(paper))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for number in range(1, len(many.plan.sequence.steps) + 1):
        assert f" {number}. " in text
    assert "step on" not in text
    assert len(reader.pages) <= 10


def test_the_page_works_without_its_script(browser, report, many):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(report.as_uri())
    assert len(shown_steps(page)) == len(many.plan.sequence.steps)
    context.close()
