"""A visit's report on paper: one page for an ordinary visit, several systems flow on."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any, Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from . import paper
from .drawings import Strip
from .paper import INK, LINE, SOFT, Sheet, colour_of
from .typeface import Typeface, typeface
from .values import FactRow, Pair, Standing, SystemReport, VisitReport

LONGEST: Final = 400
"""Characters of what stands in a cell, which can't run on to the next page."""
_LEAST_ROOM: Final = 190.0
"""Less room than this, in points, and a system begins on the next page."""
_NAMES: Final = 98.0
"""Width of the column of names, points."""
_GRID: Final = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 10),
    ("TOPPADDING", (0, 0), (-1, -1), 1.2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2),
]


def visit_pdf(
    report: VisitReport,
    *,
    printed_at: datetime.datetime,
    names_crew: bool = True,
    face: Typeface | None = None,
    compressed: bool = True,
) -> bytes:
    """Return a visit's report as PDF.

    Parameters
    ----------
    report
        What it says.
    printed_at
        The clock; the same report at the same time is the same bytes.
    names_crew
        Whether the crew's name stands on it; its members never do.
    face
        The typeface; the widest of this machine by default.
    compressed
        Whether the pages are compressed.
    """
    chosen = face or typeface()
    moment = printed_at.astimezone(datetime.UTC)
    sheet = Sheet(
        size=paper.size_of(report.units),
        face=chosen,
        title=report.title,
        author=report.company,
        running_head=f"{report.company}: airflow report, {report.site}, {report.day_text}",
        foot=(
            report.precedence,
            f"{report.reference[0]}. Printed {moment:%Y-%m-%d %H:%M} UTC.",
        ),
        printed_at=moment,
    )
    if not names_crew:
        report = replace(report, crew="")
    return paper.printed(sheet, _Story(sheet, report).told(), compressed=compressed)


class _Story:
    """The flowables of one report, in order."""

    def __init__(self, sheet: Sheet, report: VisitReport) -> None:
        self.sheet = sheet
        self.report = report
        self.plain = sheet.style("plain", 8.5)
        self.small = sheet.style("small", 7.5, color=SOFT)
        self.strong = sheet.style("strong", 8.5, bold=True)
        self.list = sheet.style(
            "list", 8.5, leftIndent=10, bulletFontName=sheet.face.plain, bulletFontSize=8.5
        )

    def told(self) -> list[Flowable]:
        """Return everything."""
        report = self.report
        story: list[Flowable] = [*self._top(), *self._summary()]
        for system in report.systems:
            story += self._system(system)
        if not report.systems:
            story.append(self._p("Nothing was measured or changed on this visit.", self.plain))
        return [*story, *self._end()]

    def _p(self, text: str, style: ParagraphStyle, **more: Any) -> Paragraph:
        return Paragraph(self.sheet.face.markup(text), style, **more)

    def _cell(self, text: str, style: ParagraphStyle | None = None) -> Paragraph:
        cut = text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
        return self._p(cut, style or self.plain)

    def _top(self) -> list[Flowable]:
        report, sheet = self.report, self.sheet
        head = Table(
            [
                [
                    [
                        self._cell(report.company, sheet.style("company", 15, bold=True)),
                        *([self._cell(report.mark, self.small)] if report.mark else []),
                    ],
                    [
                        self._p("Airflow report", sheet.right("name", 13)),
                        self._p(report.day_text, sheet.right("day", 9, color=SOFT)),
                    ],
                ]
            ],
            colWidths=[sheet.width * 0.66, sheet.width * 0.34],
            style=TableStyle([*_GRID, ("RIGHTPADDING", (-1, 0), (-1, -1), 0)]),
        )
        facts = [
            ("Customer", report.customer),
            ("Site", report.site),
            ("Purpose", report.purpose),
            ("Crew", report.crew),
        ]
        cells = [[self._p(name, self.small), self._cell(text)] for name, text in facts if text]
        if report.address:
            address = " · ".join(line.strip() for line in report.address.splitlines() if line)
            at = next(place for place, one in enumerate(facts) if one[0] == "Site")
            at -= 0 if report.customer else 1
            cells[at].append(self._cell(address, self.small))
        return [
            head,
            Spacer(0, 5),
            HRFlowable(width="100%", thickness=0.8, color=INK, spaceBefore=0, spaceAfter=5),
            Table(
                [cells],
                colWidths=[sheet.width / len(cells)] * len(cells),
                style=TableStyle(_GRID),
            ),
            Spacer(0, 8),
        ]

    def _summary(self) -> list[Flowable]:
        style = self.sheet.style("summary", 10.5, bold=True, spaceAfter=2)
        if len(self.report.systems) > 1:
            style = self.sheet.style("summary", 9, bold=True, spaceAfter=1)
        return [self._p(text, style) for text in self.report.summaries]

    def _system(self, system: SystemReport) -> list[Flowable]:
        title = self.sheet.style("system", 12, bold=True, spaceBefore=9)
        story: list[Flowable] = [
            CondPageBreak(_LEAST_ROOM if system.pairs else 80.0),
            Spacer(0, 4),
            self._p(system.tag, title),
            self._p(system.about, self.small),
            Spacer(0, 3),
        ]
        is_first = True
        for pair in system.pairs:
            story += self._pair(pair, system, is_first=is_first)
            is_first = False
        if not system.pairs:
            story.append(self._p(f"{system.tag} was not measured.", self.plain))
            story += self._done(system)
            if system.beside:
                heads = [self._p(text, self.strong) for text in ("", "Before", "After")]
                facts = [self._fact(row, has_both=True) for row in system.beside]
                story.append(self._grid([heads, *facts], repeated=1))
        if system.findings:
            story += [Spacer(0, 4), self._p("Worth knowing", self.strong)]
            story += [self._p(text, self.list, bulletText="–") for text in system.findings]
        if system.caution:
            story += [Spacer(0, 3), self._p(system.caution, self.plain)]
        return story

    def _pair(self, pair: Pair, system: SystemReport, *, is_first: bool) -> list[Flowable]:
        heads = [
            self._cell(f"{system.tag}, {pair.call.lower()}", self.strong),
            self._head("Before (as found)", pair.before),
            self._head("After (as left)", pair.after),
        ]
        lines: list[list[Any]] = [
            heads,
            [
                "",
                self._number(pair.before, pair.missing_before),
                self._number(pair.after, pair.missing_after),
            ],
        ]
        if is_first:
            lines.append([self._p("What was done", self.small), self._done_cell(system), ""])
        lines += [self._fact(row, has_both=pair.has_both) for row in pair.rows]
        spans = [
            ("SPAN", (1, number), (2, number))
            for number, line in enumerate(lines)
            if number > 1 and line[2] == ""
        ]
        story: list[Flowable] = [
            self._grid(
                lines,
                [
                    *spans,
                    ("LINEBELOW", (0, 0), (-1, 0), 0.5, LINE),
                    ("LINEBELOW", (0, 1), (-1, -2), 0.25, LINE),
                    ("BOTTOMPADDING", (0, 1), (-1, 1), 5),
                ],
                repeated=1,
            )
        ]
        if pair.others:
            story += [Spacer(0, 3), self._p("Measured too", self.small)]
            story += [self._p(text, self.list, bulletText="–") for text in pair.others]
        return [*story, Spacer(0, 4)]

    def _grid(
        self, lines: list[list[Any]], more: list[Any] | None = None, *, repeated: int = 0
    ) -> Table:
        half = (self.sheet.width - _NAMES) / 2.0
        return Table(
            lines,
            colWidths=[_NAMES, half, half],
            repeatRows=repeated,
            style=TableStyle([*_GRID, *(more or [])]),
        )

    def _head(self, name: str, standing: Standing | None) -> Paragraph:
        return self._cell(f"{name}, {standing.taken_at}" if standing else name, self.strong)

    def _number(self, standing: Standing | None, missing: str) -> list[Flowable]:
        """Return the large number with its interval, strip, verdict and what weakens it."""
        if standing is None:
            return [Spacer(0, 4), self._p(missing, self.plain)]
        found: list[Flowable] = []
        shown = standing.shown
        if shown is not None:
            number = self.sheet.face.markup(shown.number)
            behind = self.sheet.face.markup(
                f"± {shown.half_width} {shown.unit}" if shown.half_width else shown.unit
            )
            large = self.sheet.style("large", 22, bold=True, leading=27)
            face = self.sheet.face.plain
            text = f'{number} <font name="{face}" size="9.5">{behind}</font>'
            found.append(Paragraph(text, large))
        if standing.strip is not None:
            found += [Spacer(0, 2), Strip(standing.strip, self.sheet.face), Spacer(0, 2)]
        if standing.verdict_text:
            style = self.sheet.style("verdict", 10.5, bold=True, color=colour_of(standing.verdict))
            found.append(self._p(standing.verdict_text, style))
        if standing.between:
            found.append(self._p(standing.between, self.plain))
        found += [
            self._p(text, self.strong) for text in (standing.notice, *standing.remarks) if text
        ]
        return found or [self._p("–", self.plain)]

    def _done_cell(self, system: SystemReport) -> Paragraph | list[Paragraph]:
        if not system.done:
            return self._p("Nothing was changed.", self.plain)
        return [self._cell(text) for text in system.done[:12]] + (
            [self._p(f"and {len(system.done) - 12} more", self.plain)]
            if len(system.done) > 12
            else []
        )

    def _done(self, system: SystemReport) -> list[Flowable]:
        return [self._p(text, self.list, bulletText="–") for text in system.done]

    def _fact(self, row: FactRow, *, has_both: bool) -> list[Any]:
        name = self._cell(row.name, self.small)
        if row.is_same or not has_both:
            return [name, self._cell(row.either), ""]
        return [name, self._cell(row.before or "–"), self._cell(row.after or "–")]

    def _end(self) -> list[Flowable]:
        report = self.report
        story: list[Flowable] = [
            Spacer(0, 8),
            CondPageBreak(60),
            self._p(f"{'. '.join(report.closing)}.", self.strong),
        ]
        if report.notes:
            story += [Spacer(0, 4), self._p("Notes", self.small)]
            story += [self._p(text, self.plain) for text in report.notes.split("\n") if text]
        return [
            *story,
            Spacer(0, 5),
            self._p(report.how_to_read, self.small),
            Spacer(0, 3),
            self._p(f"{'. '.join(report.reference)}.", self.small),
        ]
