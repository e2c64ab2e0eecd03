"""The weekly digest as the page and the mail are made of it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DigestItem:
    """One thing of a list, with the page where it stands."""

    name: str
    text: str
    href: str


@dataclass(frozen=True, slots=True)
class DigestSection:
    """A heading with its sentences, the worst of a list, and the page that shows the rest."""

    title: str
    sentences: tuple[str, ...]
    href: str
    page_name: str
    items: tuple[DigestItem, ...] = ()


@dataclass(frozen=True, slots=True)
class Digest:
    """What a manager should know on a Monday."""

    subject: str
    company: str
    on: datetime.date
    sections: tuple[DigestSection, ...]
    advice_line: str
