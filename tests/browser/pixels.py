"""What is in a picture: the browser decodes it and counts its colours."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from dataclasses import dataclass

from playwright.sync_api import Page

Colour = tuple[int, int, int]

_COUNT = """async (address) => {
  const image = new Image();
  image.src = address;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.naturalWidth;
  canvas.height = image.naturalHeight;
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  const counts = new Map();
  for (let at = 0; at < data.length; at += 4) {
    const key = (data[at] << 16) | (data[at + 1] << 8) | data[at + 2];
    counts.set(key, (counts.get(key) ?? 0) + 1);
  }
  return { width: canvas.width, height: canvas.height, counts: [...counts] };
}"""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture by its size and how often each colour occurs."""

    width: int
    height: int
    counts: Mapping[Colour, int]

    @property
    def total(self) -> int:
        """How many pixels it has."""
        return self.width * self.height

    @property
    def commonest(self) -> Colour:
        """What it is drawn on."""
        return max(self.counts, key=lambda colour: self.counts[colour])

    def share_of(self, *colours: Colour) -> float:
        """Return the share of the pixels that have one of these colours."""
        return sum(self.counts.get(colour, 0) for colour in colours) / self.total


def picture(page: Page, png: bytes) -> Picture:
    """Return what is in a PNG."""
    found = page.evaluate(_COUNT, f"data:image/png;base64,{base64.b64encode(png).decode()}")
    counts = {((key >> 16) & 255, (key >> 8) & 255, key & 255): n for key, n in found["counts"]}
    return Picture(found["width"], found["height"], counts)


def variable(page: Page, name: str) -> Colour:
    """Return a colour of the page by the name of its variable."""
    text = page.evaluate(
        "name => getComputedStyle(document.documentElement).getPropertyValue(name).trim()", name
    ).lstrip("#")
    text = "".join(2 * digit for digit in text) if len(text) == 3 else text
    assert re.fullmatch("[0-9a-f]{6}", text), (name, text)
    return (int(text[:2], 16), int(text[2:4], 16), int(text[4:], 16))
