"""History out into a file and in from one: tried first, told row by row, and safe to repeat."""

from __future__ import annotations

import datetime
import io
import json
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from airflow_jobs import recompute
from airflow_jobs.actions.access import Actor
from airflow_jobs.management.csv_columns import COLUMNS, CONDITIONS, STATE_WORDS
from airflow_jobs.management.history_loading import Loading
from airflow_jobs.management.json_history import JsonHistory
from airflow_jobs.management.typed_numbers import DecimalSigns, Unreadable
from airflow_jobs.management.whole_file import whole_file
from airflow_jobs.models import (
    Computation,
    DuctSection,
    Instrument,
    Traverse,
    TraverseRevision,
    Visit,
    new_id,
)
from config.env import PROJECT_DIRECTORY
from tests import factories

TITLES = (
    "site,equipment,duct_section,instrument,stage,taken_at,call,dry_bulb [degF],"
    "relative_humidity [%],barometric_pressure,barometric_pressure_unit,readings [ft/min]"
)
READINGS = "|".join([";".join(["574"] * 5)] * 5)
GOOD = f'Mill,AH-1,Return drop,V-77,As found,2026-06-03 14:12,cooling,70,0,29.921,inHg,"{READINGS}"'


@dataclass(frozen=True)
class Place:
    """What the rows of the tests' files name."""

    visit: Visit
    section: DuctSection
    instrument: Instrument

    def body(self, **fields: Any) -> dict[str, Any]:
        content = factories.traverse_content(
            visit=self.visit, duct_section=self.section, instrument=self.instrument
        )
        return {**content, **fields}


@pytest.fixture
def place(transactional_db: None) -> Place:
    factories.make_company(default_units="si")
    factories.make_person(username="boss", role="administrator")
    site = factories.make_site(name="Mill")
    return Place(
        visit=factories.make_visit(site=site, crew=factories.make_crew(name="North crew")),
        section=factories.make_section(
            equipment=factories.make_equipment(site=site, tag="AH-1"), name="Return drop"
        ),
        instrument=factories.make_instrument(serial="V-77"),
    )


def load(file: Path, *options: str) -> None:
    call_command("load_history", str(file), "--as", "boss", *options)


def lines_file(path: Path, documents: Sequence[Any]) -> Path:
    path.write_text("".join(f"{json.dumps(item, default=str)}\n" for item in documents))
    return path


def csv_file(path: Path, *rows: str, titles: str = TITLES) -> Path:
    path.write_text("\n".join([titles, *rows]) + "\n")
    return path


def state_of_record() -> tuple[Any, ...]:
    return (
        list(Traverse.objects.order_by("pk").values_list("pk", "revision", "updated_at")),
        TraverseRevision.objects.count(),
        list(Computation.objects.order_by("pk").values_list("pk", "state", "due_at")),
    )


# Out


def test_an_exported_line_holds_the_content_as_sent_the_names_and_the_result_in_si(
    place: Place, tmp_path: Path
) -> None:
    body = place.body(notes="warm – draußen 30 °C")
    load(lines_file(tmp_path / "in.jsonl", [body]), "--write")
    recompute.drain()
    file = tmp_path / "out.jsonl"
    call_command("export_history", str(file))
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    (line,) = file.read_text("utf-8").splitlines()
    exported = json.loads(line)
    assert exported["id"] == body["id"]
    assert exported["content"] == {key: item for key, item in body.items() if key != "id"}
    assert exported["site"] == {"id": str(place.visit.site_id), "name": "Mill"}
    assert exported["visit"]["crew"]["name"] == "North crew"
    assert exported["equipment"]["tag"] == "AH-1"
    assert exported["duct_section"] == {"id": str(place.section.pk), "name": "Return drop"}
    assert exported["instrument"]["serial"] == "V-77"
    result = exported["result"]
    assert result["state"] == "computed"
    assert result["flow_actual"]["unit"] == "m3/s"
    stored = Computation.objects.get().result
    assert stored is not None
    assert result["best_estimate"]["flow_actual"]["value"] == stored.flow_actual_m3_s


def test_an_export_is_in_the_order_in_which_things_were_measured_whatever_was_corrected(
    place: Place, tmp_path: Path
) -> None:
    late = factories.make_traverse(taken_at=factories.NOW)
    early = factories.make_traverse(taken_at=factories.NOW - datetime.timedelta(days=400))
    TraverseRevision.objects.create(
        traverse=early, number=2, content={"notes": "second"}, content_digest="-", actor="test"
    )
    call_command("export_history", str(tmp_path / "out.jsonl"))
    lines = [json.loads(line) for line in (tmp_path / "out.jsonl").read_text().splitlines()]
    assert [line["id"] for line in lines] == [str(early.pk), str(late.pk)]
    assert (lines[0]["revision"], lines[0]["content"]) == (2, {"notes": "second"})
    assert lines[1]["result"] == {"state": "pending", "settled_at": None, "previous": None}


def test_what_was_exported_may_be_loaded_again_and_changes_nothing(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bodies = [place.body(), place.body(mode="average", readings={"unit": "m/s", "mean": 3})]
    load(lines_file(tmp_path / "in.jsonl", bodies), "--write")
    recompute.drain()
    call_command("export_history", str(tmp_path / "out.jsonl"))
    before = state_of_record()
    capsys.readouterr()
    load(tmp_path / "out.jsonl", "--write")
    assert "0 rows were stored, 2 were stored already, 0 are bad." in capsys.readouterr().out
    assert state_of_record() == before


def test_a_file_that_is_not_finished_leaves_nothing(tmp_path: Path) -> None:
    def stopped_half_way() -> None:
        with whole_file(tmp_path / "out.jsonl") as file:
            file.write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped_half_way()
    assert list(tmp_path.iterdir()) == []


def test_an_export_replaces_a_file_only_when_it_is_told_to(place: Place, tmp_path: Path) -> None:
    file = tmp_path / "out.jsonl"
    file.write_text("precious")
    with pytest.raises(CommandError, match="is there already"):
        call_command("export_history", str(file))
    call_command("export_history", str(file), "--force")
    assert file.read_text() == ""


# In


def test_without_write_nothing_is_stored_and_what_would_be_is_said(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load(csv_file(tmp_path / "old.csv", GOOD))
    assert capsys.readouterr().out.splitlines()[-1] == (
        "Dry run: 1 rows would be stored, 0 are stored already, 0 are bad. Nothing was changed; "
        "--write stores what is good."
    )
    assert not Traverse.objects.exists()
    assert not Computation.objects.exists()


def test_a_row_of_names_becomes_the_traverse_that_a_client_would_have_sent(
    place: Place, tmp_path: Path
) -> None:
    load(csv_file(tmp_path / "old.csv", GOOD), "--write")
    recompute.drain()
    traverse = Traverse.objects.select_related("computation__result").get()
    assert (traverse.visit, traverse.duct_section, traverse.instrument) == (
        place.visit,
        place.section,
        place.instrument,
    )
    # The site's time zone was five hours behind that day.
    assert traverse.taken_at == factories.NOW
    assert traverse.stage == "as_found"
    assert traverse.dry_bulb_c == pytest.approx(21.1111, abs=1e-4)
    assert traverse.readings["values"] == [[pytest.approx(574 * factories.FT_MIN)] * 5] * 5
    revision = traverse.revisions.get()
    assert revision.actor.startswith("Person")
    assert revision.content["readings"]["values"][0] == [574] * 5
    assert revision.content["conditions"]["barometric_pressure"] == {
        "value": 29.921,
        "unit": "inHg",
    }
    assert traverse.computation.state == "computed"


def test_loading_the_same_file_twice_changes_nothing(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    another = GOOD.replace("14:12", "15:40")
    # The first row stands in the file twice.
    file = csv_file(tmp_path / "old.csv", GOOD, another, GOOD)
    load(file, "--write")
    assert "2 rows were stored, 1 were stored already" in capsys.readouterr().out
    before = state_of_record()
    load(file, "--write")
    assert "0 rows were stored, 3 were stored already" in capsys.readouterr().out
    assert state_of_record() == before


def test_every_bad_row_is_told_and_kept_and_the_good_ones_are_stored(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        GOOD,
        GOOD.replace("Mill", "Hill"),
        GOOD.replace(",70,", ",seventy,").replace("574", "5xx", 1),
        GOOD.replace("As found", "before").replace("cooling", "colling"),
        GOOD.replace("574", "99999", 1),
        GOOD.replace("14:12", "16:00").replace("V-77", "V-78"),
        GOOD.replace("2026-06-03 14:12", "03.06.2026 14:12"),
        GOOD.replace("inHg", "inH2O"),
        f"{GOOD},too,many",
        GOOD.replace("|574;574;574;574;574", "", 1),
        GOOD.replace("14:12", "17:00"),
    ]
    file = csv_file(tmp_path / "old.csv", *rows)
    with pytest.raises(CommandError) as refusal:
        load(file, "--write")
    assert str(refusal.value) == (
        f"9 rows are bad and were put into {tmp_path / 'old.bad.csv'}: mend them there and load "
        "that file."
    )
    said = capsys.readouterr().out
    for expected in (
        'line 3, site, "Hill": there is no site of this name or id',
        'line 4, dry_bulb, "seventy": a number is due',
        'line 4, readings (line 1, point 1), "5xx": a number is due',
        "line 5, stage, \"before\": 'before' is not one of 'as_found', 'as_left', 'check'.",
        "line 5, call, \"colling\": 'colling' is not one of",
        'line 6, readings (line 1, point 1), "99999": A reading of 507.995 m/s is out of reach',
        'line 7, instrument, "V-78": there is no instrument of this name or id',
        'line 8, taken_at, "03.06.2026 14:12": this is no instant',
        "line 9, barometric_pressure_unit, \"inH2O\": 'inH2O' is a unit of pressure",
        "line 10, the whole",
        "it has 14 cells, and the first line names 12 columns",
        "line 11, readings, ",
        "Readings came as 4 lines of 5; expected 5 lines of 5 points",
        "2 rows were stored, 0 were stored already, 9 are bad.",
    ):
        assert expected in said
    assert Traverse.objects.count() == 2
    kept = tmp_path / "old.bad.csv"
    mended = kept.read_text()
    assert mended.splitlines()[0] == f"{TITLES},problem"
    assert len(mended.splitlines()) == 10
    assert "site: there is no site of this name or id" in mended.splitlines()[1]
    # Mended, and put over the file itself, some rows load; the others get a file of their own.
    kept.write_text(mended.replace("Hill", "Mill").replace("V-78", "V-77"))
    with pytest.raises(
        CommandError, match=r"7 rows are bad and were put into .*old\.bad\.bad\.csv"
    ):
        load(kept, "--write")
    assert "1 rows were stored, 1 were stored already, 7 are bad." in capsys.readouterr().out
    with pytest.raises(CommandError, match=r"old\.bad-2\.csv"):
        load(file, "--write")


def test_a_bad_line_of_json_is_told_with_its_place_and_kept(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = place.body(stage="before")
    stranger = place.body(visit=str(new_id()))
    file = lines_file(tmp_path / "in.jsonl", [place.body(), bad, stranger])
    with file.open("a") as more:
        more.write('\n{"id": \n')
    with pytest.raises(CommandError, match=r"3 rows are bad and were put into .*in\.bad\.jsonl"):
        load(file, "--write")
    said = capsys.readouterr().out
    assert "line 2, /stage, \"before\": 'before' is not one of" in said
    assert f'line 3, /visit, "{stranger["visit"]}": There is no visit with the id' in said
    assert 'line 5, the whole, "{"id":": The body is not valid JSON' in said
    lines = (tmp_path / "in.bad.jsonl").read_text().splitlines()
    # What can't be parsed is found while reading, what the record refuses when it is stored.
    assert sorted(lines) == sorted([json.dumps(bad), '{"id": ', json.dumps(stranger)])
    assert Traverse.objects.count() == 1


def test_an_id_that_is_taken_by_other_content_is_a_bad_row_and_changes_nothing(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    body = place.body()
    load(lines_file(tmp_path / "in.jsonl", [body]), "--write")
    before = state_of_record()
    file = lines_file(tmp_path / "other.jsonl", [{**body, "stage": "as_left"}])
    with pytest.raises(CommandError, match="1 rows are bad"):
        load(file, "--write")
    assert "is already stored with other content; nothing was changed" in capsys.readouterr().out
    assert state_of_record() == before


def test_a_traverse_and_the_one_that_it_repeats_may_stand_in_one_file(
    place: Place, tmp_path: Path
) -> None:
    first = place.body()
    check = place.body(stage="check", repeats=first["id"])
    file = lines_file(tmp_path / "in.jsonl", [first, check])
    load(file)
    assert not Traverse.objects.exists()
    load(file, "--write")
    assert str(Traverse.objects.get(pk=check["id"]).repeats_id) == first["id"]


def test_a_load_that_is_stopped_keeps_what_is_stored_and_goes_on_when_run_again(
    place: Place, tmp_path: Path
) -> None:
    first, second = place.body(), place.body(taken_at="2026-06-03T15:12:00-05:00")
    check = place.body(stage="check", repeats=first["id"])
    path = lines_file(tmp_path / "in.jsonl", [first, second, check])
    rows_seen = 0

    def stop_at_the_third(done: int, note: str) -> None:
        nonlocal rows_seen
        rows_seen += 1
        if rows_seen == 3:
            raise KeyboardInterrupt

    def loading(progress: Any) -> Loading:
        return Loading(
            JsonHistory(path),
            actor=Actor.service(),
            now=factories.NOW + datetime.timedelta(days=1),
            bad_rows=io.BytesIO(),
            complain=pytest.fail,
            progress=progress,
        )

    with pytest.raises(KeyboardInterrupt):
        loading(stop_at_the_third).write()
    # The third repeats the first, so the two before it were stored when it came.
    assert Traverse.objects.count() == 2
    again = loading(lambda done, note: None)
    again.write()
    assert (again.tally.stored, again.tally.known, again.tally.bad) == (1, 2, 0)
    assert Computation.objects.pending().count() == 3


def test_decimal_commas_are_found_out_and_shown(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = "|".join([";".join(["2,916"] * 5)] * 5)
    row = f'Mill;AH-1;Return drop;V-77;as_found;2026-06-03 14:12;21,5;101.325,0;"{readings}"'
    titles = (
        "site;equipment;duct_section;instrument;stage;taken_at;dry_bulb (degC);"
        "barometric_pressure (Pa);readings (m/s)"
    )
    load(csv_file(tmp_path / "old.csv", row, titles=titles), "--write")
    traverse = Traverse.objects.get()
    assert traverse.dry_bulb_c == 21.5
    assert traverse.barometric_pressure_pa == 101325.0
    assert traverse.readings["values"][0][0] == 2.916
    said = capsys.readouterr().out
    assert 'Decimal commas: 27 numbers, such as "21,5" as 21.5.' in said
    assert 'Grouped thousands: 1 numbers, such as "101.325,0" as 101325.0.' in said


@pytest.mark.parametrize(
    ("others", "text", "value"),
    [
        ([], "574", 574),
        ([], "21.5", 21.5),
        ([], "1.234", 1.234),
        ([], "-0,5", -0.5),
        ([], "1,234.5", 1234.5),
        ([], "1.234,5", 1234.5),
        ([], "1 234,5", 1234.5),
        ([], "\u22123.5", -3.5),
        ([], "1.5e3", 1500.0),
        (["21,5"], "1,234", 1.234),
        (["21,5"], "1.234", 1234),
        (["21.5"], "1,234", 1234),
        (["21.5"], "1.234", 1.234),
        (["21.5", "21,5"], "0,75", 0.75),
        (["1,234,567"], "1.234", 1.234),
    ],
)
def test_a_number_is_read_as_the_file_it_stands_in_shows(
    others: list[str], text: str, value: float
) -> None:
    signs = DecimalSigns()
    for other in [*others, text]:
        signs.look(other)
    assert signs.read(text) == value
    assert type(signs.read(text)) is type(value)


@pytest.mark.parametrize(
    ("others", "text", "reason"),
    [
        ([], "1,234", "it may be 1234 or 1.234"),
        (["21.5", "21,5"], "1.234", "it may be 1234 or 1.234"),
        ([], "fast", "a number is due"),
        ([], "", "a number is due"),
        ([], "nan", "a number is due"),
        ([], "1,23,4", "a number is due"),
        ([], "1.2.3", "a number is due"),
        ([], "12,34.5", "a number is due"),
    ],
)
def test_a_number_that_may_be_two_or_none_is_refused(
    others: list[str], text: str, reason: str
) -> None:
    signs = DecimalSigns()
    for other in [*others, text]:
        signs.look(other)
    with pytest.raises(Unreadable, match=reason):
        signs.read(text)


def test_the_operator_may_say_which_decimal_sign_it_is() -> None:
    assert DecimalSigns(given="comma").read("1,234") == 1.234
    assert DecimalSigns(given="point").read("1,234") == 1234
    with pytest.raises(Unreadable, match="with a decimal point"):
        DecimalSigns(given="point").read("21,5")


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (("dry_bulb [degF]", "dry_bulbs [degF]"), "did you mean dry_bulb? Rename it, or read over"),
        (("site,", "equipment,"), "the column equipment stands twice"),
        (("instrument", "notes"), "these columns are missing: instrument."),
        (("stage", "stage [m/s]"), "names a unit, but stage has none"),
    ],
)
def test_a_header_that_does_not_do_stops_the_whole_with_what_to_do(
    place: Place, tmp_path: Path, changed: tuple[str, str], words: str
) -> None:
    with pytest.raises(CommandError) as refusal:
        load(csv_file(tmp_path / "old.csv", GOOD, titles=TITLES.replace(*changed)), "--write")
    assert words in str(refusal.value)
    assert not Traverse.objects.exists()


def test_a_column_may_be_read_over_and_other_encodings_named(place: Place, tmp_path: Path) -> None:
    file = tmp_path / "old.csv"
    file.write_bytes(f"{TITLES},Bemerkung\n{GOOD},zugänglich\n".encode("cp1252"))
    with pytest.raises(CommandError, match="it is not utf-8: save it as CSV in UTF-8, or name"):
        load(file, "--ignore", "bemerkung")
    with pytest.raises(CommandError, match="leave --encoding out for UTF-8"):
        load(file, "--encoding", "klingon")
    load(file, "--encoding", "cp1252", "--ignore", "bemerkung", "--write")
    assert Traverse.objects.count() == 1


def test_a_number_without_its_unit_and_a_missing_unit_column_are_told(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    titles = TITLES.replace("dry_bulb [degF]", "dry_bulb")
    with pytest.raises(CommandError, match="1 rows are bad"):
        load(csv_file(tmp_path / "old.csv", GOOD, titles=titles))
    assert (
        'line 2, dry_bulb, "70": its unit is missing: name it in the title, as '
        "'dry_bulb [unit]', or in dry_bulb_unit"
    ) in capsys.readouterr().out


@pytest.mark.parametrize(
    ("time", "what"),
    [("2025-11-02 01:30", "came twice that night"), ("2026-03-08 02:30", "did not exist")],
)
def test_a_local_time_when_the_clocks_changed_must_come_with_its_offset(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str], time: str, what: str
) -> None:
    with pytest.raises(CommandError, match="1 rows are bad"):
        load(csv_file(tmp_path / "old.csv", GOOD.replace("2026-06-03 14:12", time)))
    assert f'line 2, taken_at, "{time}": this local time {what}' in capsys.readouterr().out


def test_a_day_with_two_visits_needs_the_crew(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    factories.make_visit(site=place.visit.site, crew=factories.make_crew(name="South crew"))
    with pytest.raises(CommandError, match="1 rows are bad"):
        load(csv_file(tmp_path / "old.csv", GOOD))
    assert "there are several visits to Mill on 2026-06-03" in capsys.readouterr().out
    load(csv_file(tmp_path / "old.csv", f"{GOOD},north crew", titles=f"{TITLES},crew"), "--write")
    assert Traverse.objects.get().visit == place.visit


def test_readings_left_empty_were_not_taken_and_an_average_is_one_number(
    place: Place, tmp_path: Path
) -> None:
    hole = GOOD.replace("574;574;574", "574;;574", 1)
    average = GOOD.replace(f'"{READINGS}"', "574").replace("14:12", "15:12")
    titles = f"{TITLES},mode,lines"
    load(
        csv_file(tmp_path / "old.csv", f"{hole},,", f"{average},average,5", titles=titles),
        "--write",
    )
    first, second = Traverse.objects.order_by("taken_at")
    assert first.readings["values"][0][1] is None
    assert second.mode == "average"
    assert second.readings == {"mean": pytest.approx(574 * factories.FT_MIN), "lines": 5}


@pytest.mark.parametrize("role", ["technician", "manager"])
def test_only_an_administrator_loads_history(place: Place, tmp_path: Path, role: str) -> None:
    factories.make_person(username="somebody", role=role)
    file = csv_file(tmp_path / "old.csv", GOOD)
    for name in ("somebody", "nobody"):
        with pytest.raises(CommandError, match=f"{name} is no administrator of this record"):
            call_command("load_history", str(file), "--as", name, "--write")
    assert not Traverse.objects.exists()


def test_every_column_stands_in_the_document_and_in_the_help(
    capsys: pytest.CaptureFixture[str],
) -> None:
    document = (PROJECT_DIRECTORY / "docs" / "history-file.md").read_text("utf-8")
    with pytest.raises(SystemExit):
        call_command("load_history", "--help")
    told = capsys.readouterr().out
    for name in COLUMNS:
        assert f"\n  {name} " in told
        base = name.removesuffix("_unit")
        assert f"`{name}`" in document or base in CONDITIONS, name
    assert set(STATE_WORDS) < set(COLUMNS)
