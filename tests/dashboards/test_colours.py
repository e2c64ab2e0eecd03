"""Colours: what must be read can be read, and a verdict is never told by colour alone."""

from __future__ import annotations

import re
from itertools import combinations, pairwise
from pathlib import Path
from typing import Final

import numpy as np
import pytest

from dashboards.charts.look import VERDICT_COLOURS, VERDICT_MARKS

FOLDER = Path(__file__).parents[2] / "dashboards"
STYLES = (FOLDER / "static/dashboards/pages.css").read_text("utf-8")
STRIP = (FOLDER / "templates/dashboards/_strip.html").read_text("utf-8")
HATCHING = (FOLDER / "templates/dashboards/_hatching.html").read_text("utf-8")

# From linear sRGB to what the eye gets. Machado, Oliveira and Fernandes, A Physiologically-based
# Model for Simulation of Color Vision Deficiency, IEEE Transactions on Visualization and Computer
# Graphics 15 (2009) 1291-1298, severity 1.0; grey is the relative luminance of WCAG 2.2.
LUMINANCE: Final = np.array([0.2126, 0.7152, 0.0722])
COLOUR_BLIND: Final = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
# From linear sRGB to CIE XYZ under D65, IEC 61966-2-1 (four digits).
TO_XYZ: Final = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
# Ten times what an eye just notices (2.3; M. Mahy et al., Color Research and Application 19, 1994;
# from memory), and in grey as much lightness as a laser printer still shows (common practice).
CLEARLY_APART: Final = 23.0
APART_IN_GREY: Final = 12.0


def _block(start: str) -> dict[str, str]:
    body = STYLES[STYLES.index(start) + len(start) :].split("}", 1)[0]
    return dict(re.findall(r"--([a-z0-9-]+):\s*([^;]+);", body))


def _themes() -> dict[str, dict[str, str]]:
    light = _block(":root {")
    dark = {**light, **_block("@media screen and (prefers-color-scheme: dark) {\n  :root {")}
    printed = {**light}
    for name, value in _block("@media print {\n  :root {").items():
        named = re.fullmatch(r"var\(--([a-z0-9-]+)\)", value)
        printed[name] = light[named[1]] if named else value
    return {"light": light, "dark": dark, "print": printed}


THEMES = _themes()
EVERY_THEME = pytest.mark.parametrize("theme", list(THEMES))


def _linear(theme: str, name: str) -> np.ndarray:
    text = THEMES[theme][name].lstrip("#")
    text = "".join(2 * digit for digit in text) if len(text) == 3 else text
    value = np.array([int(text[at : at + 2], 16) for at in (0, 2, 4)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _contrast(theme: str, one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2."""
    lights = sorted(float(LUMINANCE @ _linear(theme, name)) for name in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def _lab(linear: np.ndarray) -> np.ndarray:
    """Return CIELAB of a colour (CIE 015, D65)."""
    x, y, z = (TO_XYZ @ np.clip(linear, 0.0, 1.0)) / np.array([0.9505, 1.0, 1.0891])
    f = [np.cbrt(t) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _lightness(theme: str, name: str) -> float:
    return float(_lab(np.full(3, LUMINANCE @ _linear(theme, name)))[0])


@EVERY_THEME
@pytest.mark.parametrize("ground", ["paper", "sheet"])
@pytest.mark.parametrize("name", ["ink", "soft", "low", "high"])
def test_text_stands_out_from_what_it_is_written_on(theme: str, ground: str, name: str) -> None:
    # WCAG 2.2, 1.4.3.
    assert _contrast(theme, name, ground) >= 4.5


@EVERY_THEME
@pytest.mark.parametrize("cell", ["heat-0", "heat-1"])
def test_readings_stand_out_from_their_cells(theme: str, cell: str) -> None:
    assert _contrast(theme, "ink", cell) >= 4.5


@EVERY_THEME
@pytest.mark.parametrize("name", ["ink", "soft", "low", "high"])
def test_drawings_stand_out_from_paper_and_target_band(theme: str, name: str) -> None:
    # WCAG 2.2, 1.4.11; the edge of the band itself is drawn in the soft ink.
    assert _contrast(theme, name, "band") >= 3.0


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_buttons_and_focus_stand_out(theme: str) -> None:
    assert _contrast(theme, "on-ink", "ink") >= 4.5
    assert _contrast(theme, "focus", "paper") >= 3.0


@EVERY_THEME
@pytest.mark.parametrize("eye", list(COLOUR_BLIND))
def test_verdicts_keep_apart_for_the_colour_blind(theme: str, eye: str) -> None:
    seen = {
        name: _lab(np.array(COLOUR_BLIND[eye]) @ _linear(theme, name))
        for name in ("low", "high", "ink")
    }
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(seen[one] - seen[other]) >= CLEARLY_APART, (one, other)


@EVERY_THEME
def test_verdicts_keep_apart_in_grey(theme: str) -> None:
    lightness = sorted(_lightness(theme, name) for name in ("low", "high", "ink"))
    assert all(after - before >= APART_IN_GREY for before, after in pairwise(lightness))


@pytest.mark.parametrize("matrix", COLOUR_BLIND.values(), ids=list(COLOUR_BLIND))
def test_the_colour_blind_see_white_as_white(matrix: list[list[float]]) -> None:
    assert np.array(matrix).sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=2e-6)


def test_contrast_is_that_of_the_guidelines() -> None:
    # Black on white is 21 to 1 by definition.
    assert _contrast("print", "ink", "paper") == pytest.approx(21.0)


def test_verdicts_in_text_have_a_mark_each() -> None:
    marks = {
        verdict: found[1] if (found := re.search(pattern, STYLES)) else ""
        for verdict, pattern in (
            ("low", r"\.mark\.low::before \{\s*content: \"(.)"),
            ("high", r"\.mark\.high::before \{\s*content: \"(.)"),
            ("undecided", r"\.key\.undecided \{\s*background: (repeating-linear-gradient)"),
        )
    }
    assert marks["low"] == VERDICT_MARKS["low"]
    assert marks["high"] == VERDICT_MARKS["high"]
    assert marks["undecided"]
    # In range is the page's own ink, without a mark: that is the fourth.
    assert ".mark.in_range" not in STYLES


def test_verdicts_in_strips_have_a_shape_each() -> None:
    shapes = re.findall(
        r'class="point (low|high|undecided|in_range)" (?:d="([^"]+)"|x="([^"]+)")', STRIP
    )
    assert {verdict for verdict, *_ in shapes} == {"low", "high", "undecided", "in_range"}
    assert len({(path, box) for _, path, box in shapes}) == 4


def test_parts_of_a_share_too_close_to_call_are_hatched() -> None:
    for verdict in ("in", "low", "high"):
        assert f'id="hatch-{verdict}"' in HATCHING
        assert f'url("#hatch-{verdict}")' in STYLES


def test_verdicts_in_charts_have_a_mark_each_besides_their_colour() -> None:
    judged = set(VERDICT_COLOURS) - {"not_judged"}
    marks = [VERDICT_MARKS.get(verdict, "") for verdict in judged]
    assert len(set(marks)) == len(judged)
