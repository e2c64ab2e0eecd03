"""The form that corrects what a meter read before a calibration found it off."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from airflow_jobs import units as dimensions
from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.meter_corrections import (
    Corrected,
    CorrectionPreview,
    correct_earlier_readings,
    preview_correction,
    take_correction_back,
)
from airflow_jobs.actions.records import StaleRevision
from airflow_jobs.found_off import CalibrationFound, calibrations
from airflow_jobs.models import Calibration, Person
from dashboards import calibration_words, words
from dashboards.pages.frame import Frame, file_of, form_page, page
from dashboards.queries.meters import results_named
from dashboards.tables import Cell, Column, Table
from dashboards.values.meters import ResultNamed

MOST: Final = 1000
"""So many results are worked out at most while somebody waits."""
SHOWN: Final = 20
MOMENTS: Final = ("unknown", "known")


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the form says."""

    since: str
    moment: str
    because: str

    @property
    def day(self) -> datetime.date | None:
        """The day, where it is one."""
        try:
            return datetime.date.fromisoformat(self.since)
        except ValueError:
            return None


@form_page
def meter_correction(frame: Frame, *, calibration_id: UUID) -> HttpResponse:
    """Show what results would become, and correct them or take a correction back; managers only."""
    one = _calibration(frame, calibration_id)
    actor = _actor(frame)
    now = timezone.now()
    asked = _asked(frame, one)
    problem = ""
    if frame.request.method == "POST" and frame.request.POST.get("act") != "preview":
        problem = _act(frame, actor, one, asked, now)
        if not problem:
            return redirect(f"{reverse('instrument', args=[one.instrument_id])}#found-title")
    preview, refused = _preview(actor, one, asked, now, most=MOST)
    problem = problem or refused
    return render(
        frame.request,
        "office/meter_correction.html",
        {
            "viewer": frame.viewer,
            "house": frame.house,
            "asked": frame.asked,
            "section": "instruments",
            "one": one,
            "found": calibration_words.found_text(one, frame.house.units),
            "since_text": calibration_words.since_text(one),
            "corrected": calibration_words.corrected_text(one) if one.corrects else "",
            "form": asked,
            "revision": one.revision,
            "problem": problem,
            "preview": preview,
            "says": _says(preview) if preview else "",
            "table": _table(preview, one, asked, frame) if preview and preview.results else None,
            "last_day": one.performed_on - datetime.timedelta(days=1),
            "back": reverse("instrument", args=[one.instrument_id]),
        },
        status=422 if problem else 200,
    )


@page
def meter_correction_file(frame: Frame, *, calibration_id: UUID) -> HttpResponse:
    """Send what each result would become as CSV."""
    one = _calibration(frame, calibration_id)
    asked = _Asked(
        frame.request.GET.get("since", ""), frame.request.GET.get("moment", "unknown"), "preview"
    )
    preview, _ = _preview(_actor(frame), one, asked, timezone.now(), most=MOST)
    if preview is None:
        raise Http404
    return file_of(_table(preview, one, asked, frame, shown=MOST), "correction")


def _calibration(frame: Frame, calibration_id: UUID) -> CalibrationFound:
    """Return the calibration; nobody but a manager may know of the form."""
    if not frame.viewer.is_manager:
        raise Http404
    instrument = (
        Calibration.objects.filter(pk=calibration_id)
        .values_list("instrument_id", flat=True)
        .first()
    )
    if instrument is None:
        raise Http404
    found = next((one for one in calibrations(instrument) if one.id == calibration_id), None)
    if found is None or not found.counts:
        raise Http404
    return found


def _actor(frame: Frame) -> Actor:
    person = frame.request.user
    assert isinstance(person, Person)
    return Actor.of_person(person, today=frame.today)


def _asked(frame: Frame, one: CalibrationFound) -> _Asked:
    sent = frame.request.POST
    earliest = one.corrects_from or one.since
    moment = sent.get("moment", "known" if one.corrects_wholly else "unknown")
    return _Asked(
        since=sent.get("since", earliest.isoformat() if earliest else "").strip(),
        moment=moment if moment in MOMENTS else "unknown",
        because=sent.get("because", one.corrects_because).strip(),
    )


def _act(
    frame: Frame, actor: Actor, one: CalibrationFound, asked: _Asked, now: datetime.datetime
) -> str:
    """Do what the form asks; return what stands against it."""
    sent = frame.request.POST
    revision = sent.get("revision", "")
    expected = int(revision) if revision.isascii() and revision.isdigit() else one.revision
    try:
        if sent.get("act") == "take_back":
            reason = sent.get("back_because", "").strip()
            if not reason:
                return "Say why the correction is taken back: the history keeps it."
            take_correction_back(
                actor=actor,
                calibration_id=one.id,
                because=reason,
                expected_revision=expected,
                now=now,
            )
            messages.success(frame.request, "Taken back; the results are computed as before.")
            return ""
        if asked.day is None:
            return "Say from which day on readings are to be corrected."
        if not asked.because:
            return "Say why: everybody who reads one of these results sees the reason."
        correct_earlier_readings(
            actor=actor,
            calibration_id=one.id,
            corrects_from=asked.day,
            corrects_wholly=asked.moment == "known",
            because=asked.because,
            expected_revision=expected,
            now=now,
        )
    except RulesBroken as error:
        return error.errors[0].message
    except StaleRevision:
        return (
            "Somebody changed this calibration meanwhile. Nothing was stored; look at it as it is "
            "now and decide again."
        )
    messages.success(frame.request, "Corrected; the results are computed again now.")
    return ""


def _preview(
    actor: Actor, one: CalibrationFound, asked: _Asked, now: datetime.datetime, *, most: int
) -> tuple[CorrectionPreview | None, str]:
    if asked.day is None:
        return None, "" if not asked.since else f"{asked.since} is no day: write it as 2026-03-31."
    try:
        found = preview_correction(
            actor=actor,
            calibration_id=one.id,
            corrects_from=asked.day,
            corrects_wholly=asked.moment == "known",
            most=most,
            now=now,
        )
    except RulesBroken as error:
        return None, error.errors[0].message
    return found, ""


def _says(preview: CorrectionPreview) -> str:
    """Say what the correction would do."""
    looked_at = len(preview.results)
    if not preview.total:
        return "No result rests on this meter in that time; nothing would change."
    changed = preview.verdicts_changed
    said = (
        f"{words.count_of(preview.total, 'result')} would be computed again. "
        f"{changed or 'None'} of {looked_at:,} would be judged otherwise."
    )
    if looked_at < preview.total:
        said += f" Only the latest {looked_at:,} were worked out here."
    if preview.waiting:
        said += f" {words.count_of(preview.waiting, 'reading')} without a result yet will have it."
    if preview.flow_sets:
        said += (
            f" {words.count_of(preview.flow_sets, 'flow-set')} that rest on them are added up "
            "again as well; they are not in this list."
        )
    return said


def _table(
    preview: CorrectionPreview,
    one: CalibrationFound,
    asked: _Asked,
    frame: Frame,
    *,
    shown: int = SHOWN,
) -> Table:
    units = frame.house.units
    # Those that would be judged otherwise are what one has to know.
    ordered = sorted(preview.results, key=lambda result: not result.changes_verdict)[:shown]
    named = results_named([result.before.traverse_id for result in ordered])
    address = reverse("office:meter-correction-file", args=[one.id])
    flow = units.name(dimensions.FLOW)
    return Table(
        slug="correction",
        caption="What each result would become, those that would be judged otherwise first; "
        "± is twice the standard uncertainty",
        columns=(
            Column("Measured", is_short=True),
            Column("System"),
            Column("Stage", is_short=True),
            Column(f"Standard flow now, {flow}", is_number=True),
            Column(f"Corrected, {flow}", is_number=True),
            Column("Change", is_number=True),
            Column("Verdict now"),
            Column("Corrected verdict"),
        ),
        rows=tuple(_row(result, named[result.before.traverse_id], frame) for result in ordered),
        href=f"{address}?since={asked.since}&moment={asked.moment}",
        more=len(preview.results) - len(ordered),
    )


def _row(result: Corrected, named: ResultNamed, frame: Frame) -> tuple[Cell, ...]:
    before, after = result.before.flow_standard_m3_s, result.flow_standard_m3_s
    change = after / before - 1.0 if before and after is not None else None
    return (
        Cell(
            f"{named.taken_at:%Y-%m-%d}",
            href=reverse("traverse", args=[result.before.traverse_id]),
        ),
        Cell(named.tag, href=reverse("system", args=[named.equipment_id]), note=named.site),
        Cell(words.STAGES[named.stage]),
        _flow(before, result.before.relative_u, frame),
        _flow(after, result.relative_u, frame),
        Cell("–", "") if change is None else Cell(calibration_words.signed_percent(change), change),
        _verdict(result.before.verdict),
        _verdict(result.verdict, note="changes" if result.changes_verdict else ""),
    )


def _flow(value: float | None, relative_u: float | None, frame: Frame) -> Cell:
    units = frame.house.units
    if value is None:
        return Cell("–", "")
    half = None if relative_u is None else 2.0 * relative_u * value
    shown = units.show(
        value,
        dimensions.FLOW,
        low_si=None if half is None else value - half,
        high_si=None if half is None else value + half,
    )
    assert shown is not None
    note = f"± {shown.half_width}" if shown.half_width else ""
    return Cell(shown.number, units.number(value, dimensions.FLOW), note=note)


def _verdict(verdict: str, note: str = "") -> Cell:
    if not verdict:
        return Cell("can't be computed")
    text = "Too close to call" if verdict == "undecided" else words.verdict_text(verdict, "", None)
    return Cell(text, mark="" if verdict == "not_judged" else verdict, note=note)
