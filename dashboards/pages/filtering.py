"""What pages with filters have in common: what may be asked for, and the form that asks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.urls import reverse

from .. import words
from ..filters import (
    DEFAULT_PERIOD,
    Asked,
    air_path_choices,
    kind_choices,
    period_choices,
    stage_choices,
)
from ..queries.frame import LONGEST_LIST, choices
from ..values.filters import Choice, Choices
from .frame import Frame


def offered_choices(frame: Frame) -> Choices:
    """Return what the filters offer to who is looking; one statement at most."""
    return frame.offered or choices(
        frame.asked.filters, frame.viewer, shows_small_crews=frame.house.shows_small_crews
    )


def hidden_note(hidden: int, *, others_show: bool = True) -> str:
    """Say how many crews don't show by themselves, why, and what that doesn't hide.

    Where all others show, the numbers of a single hidden one are the whole's less theirs.
    """
    if not hidden:
        return ""
    if hidden > 1:
        return (
            f"{hidden} crews have fewer than three people and show by themselves only with consent "
            "in the company's settings; their jobs are in the whole."
        )
    said = (
        "1 crew has fewer than three people and shows by itself only with consent in the company's "
        "settings; its jobs are in the whole"
    )
    if not others_show:
        return f"{said}."
    return f"{said}. As all other crews show, its numbers are the whole's less theirs."


def link_to(asked: Asked, page_name: str, *parts: object, **changes: str | None) -> str:
    """Return the address of a page that takes the filters along, with some of them changed."""
    address, query = reverse(page_name, args=parts), asked.query(**changes)
    return f"{address}?{query}" if query else address


def filter_form(
    asked: Asked,
    offered: Choices,
    *,
    page_name: str,
    without_stage: str = "",
    kept: Mapping[str, str] | None = None,
    as_of_today: bool = False,
) -> dict[str, Any]:
    """Return what the form offers, and the filters that are on with links that take them off.

    A page that shows no single stage says in `without_stage` what it shows instead; one that shows
    how things stand today has neither stage nor period, but takes both along. What else its address
    holds goes into `kept`, so that other filters leave it alone.
    """
    filters = asked.filters
    lists: dict[str, tuple[str, tuple[Choice, ...]]] = {
        "customer": ("Customer", offered.customers),
        "site": ("Site", offered.sites),
        "crew": ("Crew", offered.crews),
        "kind": ("Kind", kind_choices(asked)),
        "air_path": ("Air path", air_path_choices(asked)),
    }
    on = [
        {"name": name, "label": choice.label, "off": asked.query(**{key: None}, **(kept or {}))}
        for key, (name, listed) in lists.items()
        for choice in listed
        if choice.is_chosen
    ]
    return {
        "address": reverse(page_name),
        "periods": () if as_of_today else period_choices(asked),
        "stages": () if without_stage or as_of_today else stage_choices(asked),
        "period": "" if asked.period == DEFAULT_PERIOD else asked.period,
        "lists": [
            {
                "key": key,
                "name": name,
                "choices": listed,
                "cut_to": LONGEST_LIST if key in offered.cut_lists else 0,
            }
            for key, (name, listed) in lists.items()
        ],
        "on": on,
        "from": filters.from_on.isoformat() if filters.from_on and asked.period == "dates" else "",
        "to": filters.to_on.isoformat() if filters.to_on and asked.period == "dates" else "",
        "stage_word": without_stage or words.STAGES[filters.stage].lower(),
        "stage": filters.stage,
        "kept": [{"name": name, "value": value} for name, value in (kept or {}).items()],
    }
