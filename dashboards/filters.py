"""The filters of the pages: they live in the address, so that a link shows the same again."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import urlencode
from uuid import UUID

from airflow_jobs.display import day_text as day_text
from airflow_jobs.models import AirPath, EquipmentKind, Stage

from .values.filters import Choice, Choices, Filters

PERIODS: Final = {
    "3m": "Last 3 months",
    "12m": "Last 12 months",
    "3y": "Last 3 years",
    "all": "Everything",
    "dates": "From and to a day",
}
DEFAULT_PERIOD: Final = "12m"
PERIOD_PARAMETERS: Final = ("period", "from", "to")
_MONTHS: Final = {"3m": 3, "12m": 12, "3y": 36}

_ALL: Final = "all are shown"
_INSTEAD: Final = {"stage": "what was left is shown"}

STAGES: Final = {"as_left": "As left", "as_found": "As found"}


@dataclass(frozen=True, slots=True)
class Problem:
    """What in an address was not done as it says, and what is shown in its place."""

    text: str
    instead: str = ""
    parameter: str = ""
    """What was left out; nothing where what was meant is plain and was done."""
    is_forbidden: bool = False
    """Whether it was left out for who is asking, not for what it says."""

    def __str__(self) -> str:
        """Return the whole as one sentence."""
        return f"{self.text}; {self.instead}." if self.instead else f"{self.text}."


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks for: the filters, how the period was said, what made no sense."""

    filters: Filters
    period: str
    problems: tuple[Problem, ...]

    @property
    def left_out(self) -> tuple[Problem, ...]:
        """Those by which more is shown than the address asks for."""
        return tuple(problem for problem in self.problems if problem.parameter)

    def query(self, **changes: str | None) -> str:
        """Return the query string of this view, with some parameters changed or left out."""
        filters = self.filters
        parameters: dict[str, str | None] = {
            "period": None if self.period == DEFAULT_PERIOD else self.period,
            "from": _iso(filters.from_on) if self.period == "dates" else None,
            "to": _iso(filters.to_on) if self.period == "dates" else None,
            "customer": _text(filters.customer),
            "site": _text(filters.site),
            "crew": _text(filters.crew),
            "kind": filters.kind,
            "stage": None if filters.stage == Stage.AS_LEFT else filters.stage,
            "air_path": filters.air_path,
            **changes,
        }
        return urlencode({name: value for name, value in parameters.items() if value})

    @property
    def tail(self) -> str:
        """What an address takes along to show the same view; nothing where there is no filter."""
        query = self.query()
        return f"?{query}" if query else ""

    @property
    def lasting_query(self) -> str:
        """The query string with the days written out, which shows the same next year."""
        return self.query(**self.lasting_period)

    @property
    def lasting_period(self) -> dict[str, str]:
        """The period's parameters with the days written out; nothing where it has no beginning."""
        start, end = self.filters.from_on, self.filters.to_on
        if start is None:
            return {}
        days = {"period": "dates", "from": start.isoformat()}
        return days if end is None else {**days, "to": end.isoformat()}

    @property
    def period_text(self) -> str:
        """The period in words."""
        if self.period != "dates":
            return PERIODS[self.period]
        start, end = self.filters.from_on, self.filters.to_on
        if start and end:
            return day_text(start) if start == end else f"{day_text(start)} to {day_text(end)}"
        if start:
            return f"Since {day_text(start)}"
        if end:
            return f"Until {day_text(end)}"
        return PERIODS["all"]

    @property
    def days_text(self) -> str:
        """The period in words with its days, for paper, which doesn't change with the calendar."""
        start, end = self.filters.from_on, self.filters.to_on
        if self.period == "dates" or not (start and end):
            return self.period_text
        return f"{self.period_text}, {day_text(start)} to {day_text(end)}"


def read_filters(parameters: Mapping[str, str], *, today: datetime.date) -> Asked:
    """Read the filters from an address; what makes no sense is left out and named.

    Parameters
    ----------
    parameters
        The query parameters by name.
    today
        The day from which the periods count back.
    """
    problems: list[Problem] = []
    period = parameters.get("period") or ""
    dates = {name: _day(parameters.get(name), name, problems) for name in ("from", "to")}
    if period and period not in PERIODS:
        problems.append(
            Problem(f"There is no period “{period}”", "the last 12 months are shown", "period")
        )
        period = ""
    # A form sends a period with the days; whoever gave a day means the day.
    if any(dates.values()):
        period = "dates"
    elif period in ("", "dates"):
        period = DEFAULT_PERIOD
    from_on, to_on = _span(period, dates["from"], dates["to"], today)
    if from_on and to_on and from_on > to_on:
        from_on, to_on = to_on, from_on
        problems.append(Problem("The period began after its end", "the two days were exchanged"))
    filters = Filters(
        from_on=from_on,
        to_on=to_on,
        customer=_identifier(parameters.get("customer"), "customer", problems),
        site=_identifier(parameters.get("site"), "site", problems),
        crew=_identifier(parameters.get("crew"), "crew", problems),
        kind=_one_of(parameters.get("kind"), EquipmentKind.values, "kind", problems),
        stage=_one_of(parameters.get("stage"), list(STAGES), "stage", problems) or Stage.AS_LEFT,
        air_path=_one_of(parameters.get("air_path"), AirPath.values, "air_path", problems),
    )
    return Asked(filters, period, tuple(problems))


def allowed(asked: Asked, offered: Choices) -> Asked:
    """Return what is asked for, without what isn't on record or not for this viewer to see apart.

    Parameters
    ----------
    asked
        What the address asks for.
    offered
        What the filters offer to the viewer, with what is asked for among it if it exists.
    """
    filters, problems = asked.filters, list(asked.problems)

    def kept(name: str, given: UUID | None, listed: tuple[Choice, ...]) -> UUID | None:
        if given is None or any(choice.value == str(given) for choice in listed):
            return given
        problems.append(_refusal(name, given, offered))
        return None

    return replace(
        asked,
        filters=replace(
            filters,
            customer=kept("customer", filters.customer, offered.customers),
            site=kept("site", filters.site, offered.sites),
            crew=kept("crew", filters.crew, offered.crews),
        ),
        problems=tuple(problems),
    )


def _refusal(name: str, given: UUID, offered: Choices) -> Problem:
    instead = f"all {name}s are shown"
    if given in offered.small_crew_ids:
        return Problem(
            "A crew of fewer than three people is not shown by itself unless the company's "
            "settings allow it",
            instead,
            name,
            is_forbidden=True,
        )
    if given in offered.other_crew_ids:
        return Problem("That crew can't be shown by itself", instead, name, is_forbidden=True)
    return Problem(f"There is no such {name}", instead, name)


def period_choices(asked: Asked) -> tuple[Choice, ...]:
    """Return the periods on offer."""
    return tuple(Choice(key, text, key == asked.period) for key, text in PERIODS.items())


def stage_choices(asked: Asked) -> tuple[Choice, ...]:
    """Return the stages on offer; they are two facts, so there is no “both”."""
    return tuple(Choice(key, text, key == asked.filters.stage) for key, text in STAGES.items())


def kind_choices(asked: Asked) -> tuple[Choice, ...]:
    """Return the kinds of equipment."""
    return tuple(
        Choice(key, text, key == asked.filters.kind) for key, text in EquipmentKind.choices
    )


def air_path_choices(asked: Asked) -> tuple[Choice, ...]:
    """Return the air paths."""
    return tuple(Choice(key, text, key == asked.filters.air_path) for key, text in AirPath.choices)


def _span(
    period: str,
    from_on: datetime.date | None,
    to_on: datetime.date | None,
    today: datetime.date,
) -> tuple[datetime.date | None, datetime.date | None]:
    if period == "dates":
        return from_on, to_on
    if period == "all":
        return None, None
    return _months_before(today, _MONTHS[period]), today


def _months_before(day: datetime.date, months: int) -> datetime.date:
    """Return the first day of a span of so many months, this day's own the last of them.

    Charts go by months; a span that began in the middle of one would show a short first month
    beside whole ones.
    """
    # Months are counted from zero: December of a year is its eleventh.
    index = day.year * 12 + (day.month - 1) - (months - 1)
    return datetime.date(index // 12, index % 12 + 1, 1)


def _day(text: str | None, name: str, problems: list[Problem]) -> datetime.date | None:
    if not text:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        problems.append(
            Problem(f"“{text}” is no day for “{name}”: write it as 2026-06-03", parameter=name)
        )
        return None


def _identifier(text: str | None, name: str, problems: list[Problem]) -> UUID | None:
    if not text:
        return None
    try:
        return UUID(text)
    except ValueError:
        problems.append(
            Problem(f"The address names no {name} that could exist", "all are shown", name)
        )
        return None


def _one_of(text: str | None, known: list[str], name: str, problems: list[Problem]) -> str | None:
    if not text:
        return None
    if text in known:
        return text
    problems.append(
        Problem(f"There is no {name.replace('_', ' ')} “{text}”", _INSTEAD.get(name, _ALL), name)
    )
    return None


def _iso(day: datetime.date | None) -> str | None:
    return day.isoformat() if day else None


def _text(value: UUID | None) -> str | None:
    return str(value) if value else None
