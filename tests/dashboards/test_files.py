"""Files that the pages bring: the chart script of the installed package, tables, strips."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

import dashboards
from dashboards.finders import PlotlyFinder
from dashboards.strips import JudgedStrip, judged_strip, share_strip
from dashboards.tables import Cell, Column, Table
from dashboards.values.shares import Share
from dashboards.values.systems import Judged

STYLES = Path(dashboards.__file__).parent / "static" / "dashboards" / "pages.css"


def test_the_chart_script_is_the_installed_package_s() -> None:
    found = PlotlyFinder().find("plotly/plotly.min.js")
    assert Path(found).stat().st_size > 1_000_000
    assert PlotlyFinder().find("plotly/other.js") == []
    assert PlotlyFinder().find("../plotly.min.js") == []


def test_the_service_finds_the_chart_script() -> None:
    assert finders.find("plotly/plotly.min.js")
    assert finders.find("dashboards/charts.js")


def test_text_that_a_spreadsheet_would_run_is_made_harmless() -> None:
    table = Table(
        slug="t",
        caption="",
        columns=(Column("Name"), Column("Number"), Column("On page", only_on_page=True)),
        rows=tuple(
            (Cell(text), Cell("1", -1.5), Cell("x"))
            for text in ("=1+1", "+1", "-1", "@a", "\tx", "fine, thanks")
        ),
    )
    lines = table.as_csv().splitlines()
    assert lines[0] == "Name,Number"
    assert lines[1:] == [
        "'=1+1,-1.5",
        "'+1,-1.5",
        "'-1,-1.5",
        "'@a,-1.5",
        "'\tx,-1.5",
        '"fine, thanks",-1.5',
    ]


def test_a_share_s_strip_adds_up_to_the_whole() -> None:
    strip = share_strip(
        Share(
            total=20,
            below=4,
            above=3,
            below_undecided=1,
            above_undecided=2,
            inside_undecided=5,
            low_end=0.4,
            high_end=0.8,
        )
    )
    assert strip is not None
    assert sum(float(one.width) for one in strip.segments) == pytest.approx(100.0)
    widths = {one.mark: float(one.width) for one in strip.segments}
    assert widths["in_range"] == pytest.approx(40.0)
    assert widths["high-undecided"] == pytest.approx(10.0)
    assert share_strip(Share(0, 0, 0, 0, 0, 0, 0.0, 1.0)) is None


def test_a_value_far_outside_stands_at_the_edge() -> None:
    def drawn(value: float) -> JudgedStrip:
        judged = Judged(value, value - 10, value + 10, 350, 400, 450, "high", "", 0.0, 1.0, False)
        return judged_strip(judged)

    assert float(drawn(400.0).value) == pytest.approx(50.0, abs=0.1)
    assert float(drawn(5000.0).value) == 97.5
    assert float(drawn(-500.0).value) == 2.5
    # No piece of the interval lies on its own beyond the mark.
    assert float(drawn(5000.0).interval_start) == 97.5
    assert float(drawn(-500.0).interval_start) == 2.5


def _variables(block: str) -> dict[str, str]:
    return dict(re.findall(r"(--[\w-]+):\s*(#[0-9a-f]{3,6});", block))


def _luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    channels = [int(digits[start : start + 2], 16) / 255 for start in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """WCAG 2.2, relative luminance and contrast ratio."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_have_contrast_enough_in_light_and_dark(scheme: str) -> None:
    blocks = re.findall(r":root \{(.*?)\}", STYLES.read_text(encoding="utf-8"), re.DOTALL)
    colours = _variables(blocks[0]) | (_variables(blocks[1]) if scheme == "dark" else {})
    for ground in ("--paper", "--sheet"):
        for text in ("--ink", "--soft", "--low", "--high"):
            assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert _contrast(colours["--on-ink"], colours["--ink"]) >= 4.5
    for shade in ("--heat-0", "--heat-1", "--band"):
        assert _contrast(colours["--ink"], colours[shade]) >= 4.5, shade
    for mark in ("--low", "--high", "--ink"):
        assert _contrast(colours[mark], colours["--band"]) >= 3.0, mark
