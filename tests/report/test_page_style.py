"""The page's colours and its script's words, without a browser."""

import json
import re
from importlib.resources import files

from maskgen.report.page import write_report


def test_contrast_of_every_pair_is_aa():
    """WCAG 2.2, 1.4.3 and 1.4.11: 4.5 to 1 for words, 3 to 1 for what tells controls and drawings apart."""
    style = files("maskgen.report").joinpath("templates", "report.css").read_text(encoding="utf-8")
    for block in re.findall(r":root \{(.*?)\}", style, re.DOTALL):
        tone = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{3,6})\b", block))
        for back in ("paper", "card"):
            for ink in ("ink", "soft", "bad", "look", "good"):
                assert contrast(tone[ink], tone[back]) >= 4.5, (ink, back)
            for ink in ("vinyl", "edge"):
                assert contrast(tone[ink], tone[back]) >= 3.0, (ink, back)


def contrast(one, other):
    """Contrast by the formula of WCAG 2.2."""

    def luminance(colour):
        digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
        parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_what_the_script_says_is_what_the_words_are(result):
    words = json.loads(re.search(r'id="said">(.*?)</script>', write_report(result).decode())[1])
    script = files("maskgen.report").joinpath("templates", "report.js").read_text(encoding="utf-8")
    assert set(re.findall(r"\bsaid\.([a-z]+)", script)) == set(words)


def test_the_template_says_nothing_of_its_own():
    """Every word comes from the words, so that another language can take their place."""
    template = files("maskgen.report").joinpath("templates", "report.html").read_text(encoding="utf-8")
    rest = re.sub(r"\{\{.*?\}\}|\{%.*?%\}|<[^>]*>|&#?\w+;", " ", template, flags=re.DOTALL)
    assert not re.search(r"[A-Za-z]", rest)
