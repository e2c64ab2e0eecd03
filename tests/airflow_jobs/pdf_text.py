"""Reads the text back out of an uncompressed PDF, as a reader's program would find it.

Only what ReportLab writes is understood: glyphs of embedded typefaces by their ToUnicode tables,
those of East Asian ones by the characters themselves.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

_OBJECT = re.compile(rb"(\d+) 0 obj\s(.*?)\sendobj", re.DOTALL)
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\n?endstream", re.DOTALL)
_TEXT = re.compile(rb"/(F[\w+]+) [\d.]+ Tf|\(((?:\\.|[^\\()])*)\) Tj|(T\*|ET)", re.DOTALL)
_ESCAPED = re.compile(rb"\\([0-7]{1,3}|.)", re.DOTALL)
_SIMPLE = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def pages_of(document: bytes) -> list[str]:
    """Return the text of each page, a line a line."""
    objects = {int(number): body for number, body in _OBJECT.findall(document)}
    fonts = {
        name.decode(): _characters(objects, int(number))
        for body in objects.values()
        if b"/Type /Font" not in body
        for name, number in re.findall(rb"/(F[\w+]+) (\d+) 0 R", body)
    }
    pages = []
    for body in objects.values():
        if re.search(rb"/Type /Page\b", body):
            contents = re.search(rb"/Contents (\d+) 0 R", body)
            assert contents is not None
            pages.append("".join(_shown(_stream(objects[int(contents[1])]), fonts)))
    return [re.sub(r"[ \xa0]+", " ", page) for page in pages]


def text_of(document: bytes) -> str:
    """Return the text of all pages in one line."""
    return re.sub(r"\s+", " ", " ".join(pages_of(document)))


def _stream(body: bytes) -> bytes:
    found = _STREAM.search(body)
    assert found is not None
    return found[1]


def _characters(objects: dict[int, bytes], number: int) -> dict[int, str] | None:
    """Return byte -> character of a typeface; None where characters are written as such."""
    table = re.search(rb"/ToUnicode (\d+) 0 R", objects[number])
    if table is None:
        return None if b"/Type0" in objects[number] else {code: chr(code) for code in range(256)}
    found: dict[int, str] = {}
    text = _stream(objects[int(table[1])]).decode("latin-1")
    for code, character in re.findall(r"<(\w\w)> <(\w{4,})>", text):
        found[int(code, 16)] = bytes.fromhex(character).decode("utf-16-be")
    return found


def _shown(content: bytes, fonts: dict[str, dict[int, str] | None]) -> Iterator[str]:
    characters: dict[int, str] | None = {}
    for font, string, move in _TEXT.findall(content):
        if font:
            characters = fonts[font.decode()]
        elif move:
            yield "\n"
        else:
            raw = _ESCAPED.sub(_unescaped, string)
            if characters is None:
                yield raw.decode("utf-16-be")
            else:
                yield "".join(characters.get(code, "\ufffd") for code in raw)


def _unescaped(found: re.Match[bytes]) -> bytes:
    what = found[1]
    return bytes([int(what, 8)]) if what.isdigit() else _SIMPLE.get(what, what)
