"""The charts of the fleet page, each with its sentence and its table."""

from __future__ import annotations

from typing import Any, Final

from airflow_jobs import units

from .. import fleet_words, flow_words, group_words, words
from ..charts.flows import Scale, bin_text, flows_found_and_left
from ..charts.shares import MOST_ROWS as MOST_DRAWN
from ..charts.shares import share_over_time, shares_by_name
from ..display import Units, percent
from ..filters import Asked
from ..tables import Cell, Column, Table
from ..values.flows import Flows
from ..values.shares import NamedShare, Share
from . import fleet_tables as tables
from .filtering import hidden_note, link_to
from .fleet_view import View

# Columns of 25 ft3/min per ton, or of 2.5 L/s per kW: some four fill the usual range.
BIN_WIDTHS: Final = {"ip": (25.0, "(ft3/min)/ton"), "si": (2.5, "(L/s)/kW")}


def bin_width(house_units: Units) -> float:
    """Return the width of the columns of flow per capacity, a round number of the company's."""
    return units.to_si(*BIN_WIDTHS[house_units.system], units.FLOW_PER_CAPACITY)


def rates_chart(found: Flows, view: View, house_units: Units) -> dict[str, Any]:
    """Return how flow per capacity was found and left."""
    ranges = found.rate_targets
    unit = house_units.name(units.FLOW_PER_CAPACITY)
    scale = Scale(
        title=f"Flow per capacity, {unit}",
        number=lambda value: house_units.number(value, units.FLOW_PER_CAPACITY),
        written=lambda value: flow_words.rate_written(value, house_units),
        median=lambda value: flow_words.rate_written(value, house_units),
        band=(ranges[0].low, ranges[0].high) if ranges else None,
        band_name="The range" if len(found.ranges) == 1 else "The commonest range",
    )
    has_any = found.rates.total > 0
    return {
        "id": "chart-flows",
        "title": "Flow per capacity, found and left",
        "sentence": flow_words.rates_sentence(found, house_units),
        "after": flow_words.blur_sentence(found, view.shares) if has_any else "",
        "data_id": "chart-flows-data",
        "figure": flows_found_and_left(found.rates, scale) if has_any else None,
        "table": bins_table(found, "flows", view.asked, house_units) if has_any else None,
    }


def places_chart(found: Flows, view: View, house_units: Units) -> tuple[dict[str, Any], ...]:
    """Return where in their own ranges jobs lie; nothing where all have the same range."""
    if not found.targets_differ:
        return ()
    scale = Scale(
        title="Place in the job's own range",
        number=lambda place: place,
        written=percent,
        median=flow_words.short_place_text,
        band=(0.0, 1.0),
        band_name="Each job's own range",
        ticks=(
            (-1.0, "a range<br>below"),
            (0.0, "low<br>limit"),
            (1.0, "high<br>limit"),
            (2.0, "a range<br>above"),
        ),
    )
    return (
        {
            "id": "chart-places",
            "title": "Against each job's own target",
            "sentence": flow_words.places_sentence(found),
            "data_id": "chart-places-data",
            "figure": flows_found_and_left(found.places, scale),
            "table": bins_table(found, "places", view.asked, house_units),
        },
    )


def bins_table(found: Flows, slug: str, asked: Asked, house_units: Units) -> Table:
    """Return the columns of the flows (`flows`) or of the places in the range (`places`)."""
    is_rates = slug == "flows"
    distribution = found.rates if is_rates else found.places
    what = (
        f"Flow per capacity, {house_units.name(units.FLOW_PER_CAPACITY)}"
        if is_rates
        else "Place in the job's own range (0 % its low limit, 100 % its high one)"
    )

    def written(value: float) -> str:
        return flow_words.rate_written(value, house_units) if is_rates else percent(value)

    def raw(value: float | None) -> float | str:
        if value is None:
            return ""
        # Limits of columns are round numbers; conversion leaves a tail of digits.
        return round(house_units.number(value, units.FLOW_PER_CAPACITY), 6) if is_rates else value

    return Table(
        slug=slug,
        caption=f"Jobs by {what[0].lower()}{what[1:]}",
        columns=(
            Column(what, only_on_page=True),
            Column("From", is_number=True, only_in_file=True),
            Column("Below", is_number=True, only_in_file=True),
            Column("As found", is_number=True),
            Column("As left", is_number=True),
        ),
        rows=tuple(
            (
                Cell(bin_text(one, written)),
                Cell("", raw(one.start)),
                Cell("", raw(one.end)),
                Cell(f"{one.found:,}", one.found),
                Cell(f"{one.left:,}", one.left),
            )
            for one in distribution.bins
        ),
        href=tables.file_address(slug, asked),
        is_grid=True,
    )


def months_chart(view: View) -> dict[str, Any]:
    """Return how the shares went over the months."""
    return {
        "id": "chart-months",
        "title": "Over time",
        "sentence": words.months_sentence(view.shares),
        "data_id": "chart-months-data",
        "figure": share_over_time(view.shares),
        "table": tables.months_table(view.shares, view.asked),
    }


def crews_chart(view: View, *, is_manager: bool) -> dict[str, Any]:
    """Return the crews with their intervals, or a technician's crew beside the company."""
    rows = (*view.crews, view.company) if view.company else view.crews
    notes = (hidden_note(view.hidden_crews), _shown_note(view, view.crews, "crews"))
    return {
        "id": "chart-crews",
        "title": "By crew" if is_manager else "Your crew and the company",
        "sentence": group_words.named_sentence(
            view.crews, stage=view.stage, whole=view.whole_of_crews, nouns="crews"
        ),
        "note": " ".join(filter(None, notes)),
        "data_id": "chart-crews-data",
        "table_open": True,
        "figure": _figure(view, rows, view.whole_of_crews),
        "table": named_table(view, "crews"),
    }


def sites_chart(view: View) -> dict[str, Any]:
    """Return the sites with their intervals."""
    return {
        "id": "chart-sites",
        "title": "By site",
        "sentence": group_words.named_sentence(
            view.sites, stage=view.stage, whole=view.whole, nouns="sites"
        ),
        "note": _shown_note(view, view.sites, "sites"),
        "data_id": "chart-sites-data",
        "figure": _figure(view, view.sites, view.whole),
        "table": named_table(view, "sites"),
    }


def named_table(view: View, slug: str, *, limit: int | None = tables.MOST_ROWS) -> Table:
    """Return the table of the crews or of the sites."""
    is_crews = slug == "crews"
    noun = "crew" if is_crews else "site"
    return tables.named_table(
        view.crews if is_crews else view.sites,
        view.asked,
        slug=slug,
        noun=noun,
        href=lambda one: link_to(view.asked, "fleet", **{noun: str(one.id)}),
        whole=view.company if is_crews else None,
        limit=limit,
    )


def _figure(view: View, rows: tuple[NamedShare, ...], whole: Share) -> dict[str, Any] | None:
    if not rows:
        return None
    return shares_by_name(
        rows,
        stage=view.stage,
        whole=whole,
        whole_name="{}, {}".format(
            "All jobs in this view" if whole is view.whole else "All crews' jobs",
            words.STAGES[view.stage].lower(),
        ),
    )


def _shown_note(view: View, rows: tuple[NamedShare, ...], nouns: str) -> str:
    return fleet_words.shown_note(MOST_DRAWN, len(rows), nouns=nouns, stage=view.stage)
