"""Sync down, send what waits, follow results."""

from __future__ import annotations

import datetime
import urllib.parse
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from .service import Service, Trouble
from .store import Item, Store
from .words import of_problem, short

GIVEN_AWAY = "visits/given-away"
RESOURCES = ("sites", "equipment", "duct-sections", "instruments", "visits")
LARGEST_PAGE = 200
BEGINNING = "1970-01-01T00:00:00Z"
# A change may be committed shortly after its time.
OVERLAP = datetime.timedelta(minutes=1)


def sync(
    service: Service, store: Store, *, whole: bool = False, page_size: int = LARGEST_PAGE
) -> dict[str, int]:
    """Bring reference data down: what has changed since the last time, or all of it.

    Each page is kept at once, so a sync that breaks off goes on from there. Visits that another
    crew has now are forgotten first: one that has come back comes with the visits.

    Parameters
    ----------
    service, store
        From where to where.
    whole
        Bring everything, and forget what doesn't come any more.
    page_size
        How many at once.

    Returns
    -------
    dict
        How many records came, by resource.
    """
    since = _since(store.synced_until(GIVEN_AWAY))
    for page in _pages(service, GIVEN_AWAY, since=since, page_size=page_size):
        store.forget_given_away(page)
    counts = {}
    for resource in RESOURCES:
        since = _since(None if whole else store.synced_until(resource))
        came: set[str] = set()
        for page in _pages(service, resource, updated_since=since, page_size=page_size):
            store.keep(resource, page)
            came |= {record["id"] for record in page}
        if whole:
            store.keep_only(resource, came)
        counts[resource] = len(came)
    return counts


def _since(last: str | None) -> str:
    """Return where to go on from; by the service's clock, not the device's."""
    if last is None:
        return BEGINNING
    return (datetime.datetime.fromisoformat(last) - OVERLAP).isoformat()


def _pages(service: Service, resource: str, **query: Any) -> Iterator[list[dict[str, Any]]]:
    """Yield a list page by page."""
    asked = urllib.parse.urlencode(query)
    while asked:
        answer = service.ask("GET", f"{resource}/?{asked}")
        if answer.status != 200:
            raise Trouble(of_problem(answer.body))
        yield answer.body["results"]
        # Of the next page's address only the query: the token goes to no other host.
        asked = urllib.parse.urlsplit(answer.body["next"] or "").query


def send(service: Service, store: Store) -> None:
    """Send what waits, each thing once: new traverses in batches, then corrections.

    Whatever is not stored when this ends, by an error or a crash too, is still in the queue, and
    the next call sends exactly the same again.

    Parameters
    ----------
    service, store
        Where to and where from.

    Raises
    ------
    Trouble
        If the token is not good, or nobody answers for too long.
    """
    tried: set[int] = set()
    while lot := store.begin(but=tried):
        tried |= {item.number for item in lot}
        for item in _send_together(service, store, lot) if len(lot) > 1 else lot:
            _send_alone(service, store, item)


def _send_together(service: Service, store: Store, lot: list[Item]) -> list[Item]:
    """Send a batch and return what has to go out alone.

    That is a conflict, to see what is stored; and all of them where the body was refused as a
    whole, so that one bad item holds back no other.
    """
    body = [{"id": item.traverse, **item.content} for item in lot]
    answer = service.ask("POST", "traverses/batch/", body)
    if answer.status != 200:
        return lot
    outcomes = {outcome["id"]: outcome for outcome in answer.body}
    alone = []
    for item in lot:
        outcome = outcomes.get(item.traverse, {"status": None})
        if outcome["status"] in (200, 201):
            store.mark_stored(item, revision=1)
        elif outcome["status"] in (403, 422):
            store.park(item, outcome)
        else:
            alone.append(item)
    return alone


def _send_alone(service: Service, store: Store, item: Item) -> None:
    if item.reason is None:
        answer = service.ask("POST", "traverses/", {"id": item.traverse, **item.content})
    else:
        body = {"reason": item.reason, "content": item.content}
        path = f"traverses/{item.traverse}/corrections/"
        answer = service.ask("POST", path, body, revision=item.revision)
    if answer.status in (200, 201):
        # The first content is revision 1, also where others have corrected it since.
        store.mark_stored(item, answer.body["revision"] if item.reason is not None else 1)
    elif answer.status == 412 and _is_in_history(service, item):
        store.mark_stored(item, answer.body["current"]["revision"])
    elif answer.status >= 500:
        service.say(f"{short(item.traverse)} stays in the queue: {of_problem(answer.body)}")
    else:
        store.park(item, {**answer.body, "status": answer.status})


def _is_in_history(service: Service, item: Item) -> bool:
    """Tell whether a correction got there, its answer lost, before somebody else's did."""
    answer = service.ask("GET", f"traverses/{item.traverse}/revisions/")
    return answer.status == 200 and any(
        (revision["reason"], revision["content"]) == (item.reason, item.content)
        for revision in answer.body["results"]
    )


def follow_results(
    service: Service,
    traverses: Iterable[str],
    show: Callable[[str, dict[str, Any]], None],
    *,
    patience_s: float = 30.0,
) -> None:
    """Ask for results until all are computed or patience ends; show each as it comes.

    Parameters
    ----------
    service
        Whom to ask.
    traverses
        Ids of what was sent.
    show
        Called once for each with its id and the traverse, or the problem in its place.
    patience_s
        How long to wait for those that are pending; then they are shown as they are.
    """
    pending = list(traverses)
    pause, waited_s = 0.5, 0.0
    while pending:
        is_last_time = waited_s >= patience_s
        still = []
        for traverse in pending:
            answer = service.ask("GET", f"traverses/{traverse}/")
            is_pending = answer.status == 200 and answer.body["result"]["state"] == "pending"
            if is_pending and not is_last_time:
                still.append(traverse)
            else:
                show(traverse, answer.body)
        pending = still
        if pending:
            service.sleep(pause)
            waited_s += pause
            pause = min(10.0, pause * 1.5)
