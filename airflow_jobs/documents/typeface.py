"""Which letters stand on paper: the typefaces, and what takes the place of what none has.

DejaVu Sans, where the machine has it (Latin, Greek, Cyrillic, Armenian, Georgian); else Vera Sans
of the same design, which comes with ReportLab (western Latin; other accented letters lose their
accents). Chinese, Japanese and Korean are set in typefaces that the reader's program brings.
Scripts that run from right to left or whose letters join are not set: a mark stands for each run
of them, and the page on screen shows them.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from typing import Final
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

UNSET: Final = "◊"
"""Stands for what can't be set; both typefaces have it."""

_TIED: Final = "\N{NO-BREAK SPACE}"
_OWN: Final = ("Vera.ttf", "VeraBd.ttf")
# Names below the folders where systems keep typefaces, which ReportLab searches.
_WIDER: Final = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("dejavu/DejaVuSans.ttf", "dejavu/DejaVuSans-Bold.ttf"),
    ("truetype/dejavu/DejaVuSans.ttf", "truetype/dejavu/DejaVuSans-Bold.ttf"),
    ("dejavu-sans-fonts/DejaVuSans.ttf", "dejavu-sans-fonts/DejaVuSans-Bold.ttf"),
)
_KOREAN, _JAPANESE, _CHINESE = "HYSMyeongJo-Medium", "HeiseiMin-W3", "STSong-Light"
# First and last character of what is set in which of them (Unicode blocks).
_EAST_ASIAN: Final = (
    (0x1100, 0x11FF, _KOREAN),
    (0x3130, 0x318F, _KOREAN),
    (0xAC00, 0xD7AF, _KOREAN),
    (0x3040, 0x30FF, _JAPANESE),
    (0x31F0, 0x31FF, _JAPANESE),
    (0x3000, 0x303F, _CHINESE),
    (0x3400, 0x4DBF, _CHINESE),
    (0x4E00, 0x9FFF, _CHINESE),
    (0xFF00, 0xFFEF, _CHINESE),
)
# Beyond these, letters join, move or carry marks, which takes shaping.
_FIRST_JOINING, _LAST_JOINING = 0x0590, 0x10FF
_GEORGIAN: Final = (0x10A0, 0x10FF)


@dataclass(frozen=True, slots=True)
class Typeface:
    """A plain and a bold face, with the characters that both have."""

    plain: str
    bold: str
    characters: frozenset[int]

    def markup(self, text: str) -> str:
        """Return text for a paragraph: safe, and every character of it in a face that has it."""
        return "".join(_piece(kind, piece) for kind, piece in self._runs(text))

    def line(self, text: str) -> str:
        """Return text for a line in the plain face alone."""
        return "".join(piece if kind in ("", UNSET) else UNSET for kind, piece in self._runs(text))

    def _runs(self, text: str) -> Iterator[tuple[str, str]]:
        """Yield runs of text with the name of their face, empty for the own one."""
        kind, run = "", ""
        for character in _kept_together(unicodedata.normalize("NFC", text)):
            found, shown = self._set(character)
            if not shown:
                continue
            if found == kind and (found != UNSET):
                run += shown
                continue
            if found == kind == UNSET:
                continue
            if run:
                yield kind, run
            kind, run = found, shown
        if run:
            yield kind, run

    def _set(self, character: str) -> tuple[str, str]:
        """Return face and text of one character; empty text where there is nothing to show."""
        code = ord(character)
        category = unicodedata.category(character)
        if character in ("\n", _TIED):
            return "", character
        if character in "\r\t" or category == "Zs":
            return "", " "
        if category in ("Cc", "Cf"):
            return "", ""
        if code in self.characters and not _needs_shaping(code):
            return "", character
        for first, last, face in _EAST_ASIAN:
            if first <= code <= last:
                return _east_asian(face), character
        plainer = "".join(
            one
            for one in unicodedata.normalize("NFKD", character)
            if ord(one) in self.characters and not unicodedata.combining(one)
        )
        if plainer and not _needs_shaping(code):
            return "", plainer
        # Marks over a letter that was set without them.
        return ("", "") if unicodedata.combining(character) else (UNSET, UNSET)


def _kept_together(text: str) -> str:
    """Return text whose lines don't break before a percent sign or after a plus-minus."""
    return text.replace(" %", f"{_TIED}%").replace("± ", f"±{_TIED}")


def _needs_shaping(code: int) -> bool:
    if _GEORGIAN[0] <= code <= _GEORGIAN[1]:
        return False
    return _FIRST_JOINING <= code <= _LAST_JOINING or 0xFB1D <= code <= 0xFDFF


def _piece(kind: str, piece: str) -> str:
    safe = escape(piece).replace("\n", "<br/>")
    return f'<font name="{kind}">{safe}</font>' if kind not in ("", UNSET) else safe


@lru_cache
def _east_asian(face: str) -> str:
    pdfmetrics.registerFont(UnicodeCIDFont(face))
    return face


@lru_cache
def typeface() -> Typeface:
    """Return the widest typeface of this machine."""
    for files in _WIDER:
        with suppress(TTFError, OSError):
            return _registered("Report wide", files)
    return own_typeface()


@lru_cache
def own_typeface() -> Typeface:
    """Return the typeface that is always there."""
    return _registered("Report own", _OWN)


def _registered(name: str, files: tuple[str, str]) -> Typeface:
    plain, bold = TTFont(name, files[0]), TTFont(f"{name} bold", files[1])
    for face in (plain, bold):
        pdfmetrics.registerFont(face)
    pdfmetrics.registerFontFamily(
        name, normal=name, bold=bold.fontName, italic=name, boldItalic=bold.fontName
    )
    return Typeface(
        plain=name,
        bold=bold.fontName,
        characters=frozenset(plain.face.charToGlyph) & frozenset(bold.face.charToGlyph),
    )
