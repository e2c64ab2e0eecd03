"""Numbers as people and spreadsheets of many countries type them, and how they were read.

A comma may be the decimal sign or part thousands, and so may a point. Most numbers tell which it
is (``21,5``, ``0,875``, ``1.234,5``); what these show about a file decides how the others in it
(``1,234``) are read. Where nothing decides, such a number is refused rather than guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final, Literal

Sign = Literal["point", "comma"]
SIGNS: Final[dict[Sign, str]] = {"point": ".", "comma": ","}
_OTHER: Final[dict[Sign, Sign]] = {"point": "comma", "comma": "point"}
_SPACES: Final = re.compile(r"(?<=\d)[ \u00a0\u202f'](?=\d{3}(?!\d))")
_NUMBER: Final = re.compile(r"[+-]?(\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?")


class Unreadable(ValueError):
    """A text that is no number, or may be several; the text says which and what to write."""


@dataclass
class DecimalSigns:
    """Which decimal sign a file has, and what was read by it."""

    given: Sign | None = None
    """What the operator says; None: found out."""
    seen: set[Sign] = field(default_factory=set)
    """What the numbers looked at have shown."""
    commas: int = 0
    first_comma: str = ""
    thousands: int = 0
    first_thousands: str = ""

    def look(self, text: str) -> None:
        """Learn from a number which sign the file has; what is no number teaches nothing."""
        sign = _shown_sign(_tidied(text))
        if sign is not None:
            self.seen.add(sign)

    def read(self, text: str) -> int | float:
        """Read a number.

        Parameters
        ----------
        text
            As typed.

        Returns
        -------
        int or float
            An int where no decimal sign or exponent was typed.

        Raises
        ------
        Unreadable
        """
        tidy = _tidied(text)
        if not _NUMBER.fullmatch(tidy):
            raise Unreadable("a number is due")
        sign = self._sign_of(tidy)
        decimal, thousands = SIGNS[sign], SIGNS[_OTHER[sign]]
        whole, *rest = re.split("[eE]", tidy)[0].split(decimal)
        groups = whole.lstrip("+-").split(thousands)
        is_grouped = len(groups) > 1
        if len(rest) > 1 or any(thousands in part for part in rest):
            raise Unreadable(f"a number is due, with a decimal {sign} as elsewhere in the file")
        if is_grouped and not (
            1 <= len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:])
        ):
            raise Unreadable(f"a number is due, with a decimal {sign} as elsewhere in the file")
        plain = tidy.replace(thousands, "").replace(decimal, ".")
        value = int(plain) if re.fullmatch(r"[+-]?\d{1,100}", plain) else float(plain)
        if sign == "comma" and rest:
            self.commas += 1
            self.first_comma = self.first_comma or f'"{text}" as {value}'
        if is_grouped:
            self.thousands += 1
            self.first_thousands = self.first_thousands or f'"{text}" as {value}'
        return value

    def summary(self) -> list[str]:
        """Say how numbers were read that could have been read otherwise."""
        said = []
        if self.commas:
            said.append(f"Decimal commas: {self.commas:,} numbers, such as {self.first_comma}.")
        if self.thousands:
            said.append(
                f"Grouped thousands: {self.thousands:,} numbers, such as {self.first_thousands}."
            )
        return said

    def _sign_of(self, tidy: str) -> Sign:
        if self.given is not None:
            return self.given
        shown = _shown_sign(tidy)
        if shown is not None:
            return shown
        if len(self.seen) == 1:
            (sign,) = self.seen
            return sign
        if not self.seen and "," not in tidy:
            return "point"
        if not {".", ","} & set(tidy):
            return "point"
        plain = tidy.replace(",", "").replace(".", "")
        decimal = tidy.replace(",", ".")
        raise Unreadable(
            f"it may be {plain} or {decimal}, and the file does not tell: write one of them, or "
            "say --decimal comma or --decimal point"
        )


def _tidied(text: str) -> str:
    return _SPACES.sub("", text.strip().replace("\u2212", "-"))


def _shown_sign(tidy: str) -> Sign | None:
    """Return the decimal sign that a number shows by itself, if it does."""
    if not _NUMBER.fullmatch(tidy):
        return None
    digits = re.split("[eE]", tidy.lstrip("+-"))[0]
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return "point" if digits.rfind(".") > digits.rfind(",") else "comma"
    if not points and not commas:
        return None
    mine: Sign = "point" if points else "comma"
    if points + commas > 1:
        return _OTHER[mine]
    before, after = digits.split(SIGNS[mine])
    if len(after) != 3 or not 1 <= len(before) <= 3 or before.startswith("0"):
        return mine
    return None
