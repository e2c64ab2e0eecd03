"""The sheet of a report: its size, what stands at the top and foot of each page, its styles."""

from __future__ import annotations

import datetime
import io
import time
import unicodedata
from dataclasses import dataclass
from typing import Any, Final

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from airflow_jobs.models import UnitSystem

from .typeface import Typeface

INK: Final = HexColor("#1c2530")
SOFT: Final = HexColor("#59636f")
LINE: Final = HexColor("#b9b4a8")
BAND: Final = HexColor("#dcd7ca")
LOW: Final = HexColor("#0a5fa8")
HIGH: Final = HexColor("#b83c08")
MARGIN: Final = 42.0
TOP, FOOT = 46.0, 46.0
"""What is kept for the lines at the top of further pages and at the foot of all, points."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is the same on every page of one report."""

    size: tuple[float, float]
    face: Typeface
    title: str
    author: str
    running_head: str
    foot: tuple[str, str]
    """Two lines: whose word comes first, and the reference."""
    printed_at: datetime.datetime

    @property
    def width(self) -> float:
        """Room between the margins, points."""
        return self.size[0] - 2.0 * MARGIN

    def style(self, name: str, size: float, **more: Any) -> ParagraphStyle:
        """Return a style in the sheet's typeface."""
        is_bold = more.pop("bold", False)
        return ParagraphStyle(
            name,
            fontName=self.face.bold if is_bold else self.face.plain,
            fontSize=size,
            leading=more.pop("leading", size * 1.32),
            textColor=more.pop("color", INK),
            **more,
        )

    def right(self, name: str, size: float, **more: Any) -> ParagraphStyle:
        """Return a style that stands to the right."""
        return self.style(name, size, alignment=TA_RIGHT, **more)


def size_of(units: str) -> tuple[float, float]:
    """Return the paper that goes with a company's units."""
    width, height = A4 if units == UnitSystem.SI else letter
    return float(width), float(height)


def printed(sheet: Sheet, story: list[Flowable], *, compressed: bool = True) -> bytes:
    """Return a story as PDF, the same bytes for the same story and clock."""
    file = io.BytesIO()
    height = sheet.size[1]
    first = Frame(MARGIN, FOOT, sheet.width, height - FOOT - MARGIN + 8.0, 0, 0, 0, 0, id="first")
    later = Frame(MARGIN, FOOT, sheet.width, height - FOOT - TOP, 0, 0, 0, 0, id="later")
    document = BaseDocTemplate(
        file,
        pagesize=sheet.size,
        title=_storable(sheet.title),
        author=_storable(sheet.author),
        subject="Airflow before and after the work",
        creator="Duct Flow Record",
        lang="en",
        invariant=1,
        pageCompression=int(compressed),
    )
    document.addPageTemplates(
        [
            PageTemplate("first", [first], autoNextPageTemplate="later"),
            PageTemplate("later", [later], onPage=lambda canvas, _: _head(canvas, sheet)),
        ]
    )
    document.build(story, canvasmaker=_counting(sheet))
    return file.getvalue()


def _storable(text: str) -> str:
    """Return text without what no file can hold."""
    return "".join(one for one in text if unicodedata.category(one) not in ("Cc", "Cs"))


def _head(canvas: Any, sheet: Sheet) -> None:
    canvas.saveState()
    canvas.setFillColor(SOFT)
    canvas.setFont(sheet.face.plain, 8)
    top = sheet.size[1] - 30.0
    canvas.drawString(MARGIN, top, fitted(sheet.face.line(sheet.running_head), sheet, 8.0))
    _rule(canvas, sheet, top - 6.0)
    canvas.restoreState()


def fitted(text: str, sheet: Sheet, size: float, room: float | None = None) -> str:
    """Return a line cut so that it fits into the room, between the margins by default."""
    most = sheet.width if room is None else room
    if stringWidth(text, sheet.face.plain, size) <= most:
        return text
    while text and stringWidth(f"{text}…", sheet.face.plain, size) > most:
        text = text[:-1]
    return f"{text}…"


def _rule(canvas: Any, sheet: Sheet, at: float) -> None:
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN, at, sheet.size[0] - MARGIN, at)


def _counting(sheet: Sheet) -> type[Canvas]:
    """Return a canvas that knows at the end how many pages there are."""

    class Counting(Canvas):
        """Keeps its pages back until all are there, to write the foot of each."""

        def __init__(self, *arguments: Any, **options: Any) -> None:
            super().__init__(*arguments, **options)
            self._kept: list[dict[str, Any]] = []
            _set_clock(self, sheet.printed_at)

        def showPage(self) -> None:  # the canvas calls it so
            """Keep the page back."""
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            """Write the feet, then everything."""
            for number, page in enumerate(self._kept, start=1):
                self.__dict__.update(page)
                self._foot(number, len(self._kept))
                super().showPage()
            super().save()

        def _foot(self, number: int, pages: int) -> None:
            self.saveState()
            _rule(self, sheet, FOOT - 8.0)
            self.setFillColor(SOFT)
            self.setFont(sheet.face.plain, 6.5)
            page = f"Page {number} of {pages}"
            room = sheet.width - stringWidth(page, sheet.face.plain, 6.5) - 12.0
            for line, text in enumerate(sheet.foot):
                cut = fitted(sheet.face.line(text), sheet, 6.5, room)
                self.drawString(MARGIN, FOOT - 18.0 - 9.0 * line, cut)
            self.drawRightString(sheet.size[0] - MARGIN, FOOT - 18.0, page)
            self.restoreState()

    return Counting


def _set_clock(canvas: Any, moment: datetime.datetime) -> None:
    """Have the document say when it was printed; an invariant one says 2000 by itself."""
    stamp = canvas._doc._timeStamp
    stamp.t = moment.timestamp()
    stamp.lt = time.gmtime(stamp.t)
    stamp.YMDhms = tuple(stamp.lt)[:6]
    stamp.dhh = stamp.dmm = 0


def colour_of(verdict: str) -> Color:
    """Return the colour of a verdict: low and high have one, the rest is ink."""
    return {"low": LOW, "high": HIGH}.get(verdict, INK)
