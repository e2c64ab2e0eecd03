"""What is drawn on paper: the strip that shows a value against its range, and its mark."""

from __future__ import annotations

from typing import Any

from reportlab.lib.colors import white
from reportlab.platypus import Flowable

from airflow_jobs.judged_strip import JudgedStrip

from .paper import BAND, INK, LINE, SOFT, colour_of
from .typeface import Typeface

HEIGHT = 26.0


class Strip(Flowable):
    """A range as a band, the interval as a bar, the value as a mark whose shape is the verdict."""

    def __init__(self, strip: JudgedStrip, face: Typeface) -> None:
        super().__init__()
        self.strip = strip
        self.face = face
        self.width = 0.0
        self.height = HEIGHT

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Take the whole width."""
        self.width = min(available_width, 220.0)
        return self.width, self.height

    def draw(self) -> None:
        """Draw it: readable without colour."""
        canvas, strip = self.canv, self.strip
        base, tall = 10.0, 14.0
        middle = base + tall / 2.0
        start, end = self._at(strip.band_start), self._at(strip.band_end)
        canvas.setLineWidth(0.4)
        canvas.setStrokeColor(LINE)
        canvas.line(0.0, middle, self.width, middle)
        canvas.setFillColor(BAND)
        canvas.rect(start, base, end - start, tall, stroke=0, fill=1)
        canvas.setStrokeColor(SOFT)
        canvas.setLineWidth(0.8)
        for limit in (start, end):
            canvas.line(limit, base, limit, base + tall)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(2.0)
        low = self._at(strip.interval_start)
        canvas.line(low, middle, low + self._at(strip.interval_width), middle)
        mark(canvas, self._at(strip.value), middle, strip.mark)
        canvas.setFillColor(SOFT)
        canvas.setFont(self.face.plain, 7)
        for limit, text in ((start, strip.low_label), (end, strip.high_label)):
            canvas.drawCentredString(limit, 2.0, text)

    def _at(self, share: str) -> float:
        return float(share) / 100.0 * self.width


def mark(canvas: Any, x: float, y: float, verdict: str) -> None:
    """Draw the mark of a verdict: down, up, a lozenge where it is undecided, a bar in range."""
    canvas.saveState()
    canvas.setFillColor(colour_of(verdict))
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.0)
    path = canvas.beginPath()
    if verdict == "low":
        corners = [(-5.0, 4.5), (5.0, 4.5), (0.0, -5.5)]
    elif verdict == "high":
        corners = [(-5.0, -4.5), (5.0, -4.5), (0.0, 5.5)]
    elif verdict == "undecided":
        canvas.setFillColor(white)
        corners = [(-5.0, 0.0), (0.0, 6.0), (5.0, 0.0), (0.0, -6.0)]
    else:
        corners = [(-1.5, -7.0), (-1.5, 7.0), (1.5, 7.0), (1.5, -7.0)]
    path.moveTo(x + corners[0][0], y + corners[0][1])
    for across, up in corners[1:]:
        path.lineTo(x + across, y + up)
    path.close()
    canvas.drawPath(path, stroke=int(verdict == "undecided"), fill=1)
    canvas.restoreState()
