"""What all resources share: strict bodies, revisions, lists, answers."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from typing import Any, ClassVar, Final
from uuid import UUID

from django.db import models
from django.utils import timezone
from rest_framework import serializers, status
from rest_framework.exceptions import MethodNotAllowed, NotFound
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.settings import api_settings
from rest_framework.viewsets import GenericViewSet

from airflow_jobs.actions import access
from airflow_jobs.actions.access import Actor
from airflow_jobs.actions.records import Recorded, add_record, change_record
from airflow_jobs.models import Company, Record, UnitSystem

from . import filters
from .fields import IdField, InstantField, shown
from .filters import Filter
from .pagination import TimeCursorPagination
from .parsers import refuse_chunks
from .problems import BadQuery, MissingRevision

UUID_IN_PATH: Final = "[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"
METHODS: Final = ["get", "post", "patch", "delete", "head"]
OPTIONAL: Final[dict[str, Any]] = {"required": False, "allow_null": True}
"""May be left out, and taken away by null in a change."""

UPDATED_SINCE: Final = "updated_since"
COMPUTED_SINCE: Final = "computed_since"

_OUTCOMES: Final = (
    Filter(
        COMPUTED_SINCE,
        "computation__settled_at__gte",
        "instant",
        "For syncing results: only what was computed, or could not be, then or later, ordered by "
        "`result.settled_at`. Go on from the last `settled_at` seen, without going back: outcomes "
        "can be read in the order of these times and in no other, so none comes late. What is "
        "computed again moves to the end; what is only to be computed again stays where it is.",
    ),
)
_REVISION: Final = re.compile(r'^(?:W/)?"?([1-9][0-9]{0,9})"?$')


class StrictSerializer(serializers.Serializer[Any]):
    """A body whose every key is known; absent and null are the same when something is made."""

    default_error_messages = {
        "invalid": "An object is due; {datatype} came.",
        "unknown": "'{key}' is not known here{hint}.",
        "read_only": "'{key}' is set by the service; leave it out.",
    }

    answers_every_key: ClassVar[bool] = True
    """Whether answers have all keys, null where nothing is known."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Refuse unknown keys, then parse what is there."""
        if not isinstance(data, Mapping):
            text = str(self.error_messages["invalid"]).format(datatype=shown(data))
            refusal = serializers.ErrorDetail(text, code="not_an_object")
            raise serializers.ValidationError({api_settings.NON_FIELD_ERRORS_KEY: [refusal]})
        self._refuse_unknown(data)
        partial = bool(getattr(self.root, "partial", False))
        given = {
            key: self._cleared(key) if item is None else item
            for key, item in data.items()
            if partial or item is not None
        }
        parsed: dict[str, Any] = super().to_internal_value(given)
        return parsed

    def takes_null(self, name: str) -> bool:
        """Return whether null may be sent for a key that isn't required."""
        field = self.fields[name]
        if not self.partial and not isinstance(self, GroupSerializer):
            return True
        if isinstance(field, GroupSerializer):
            return all(field.takes_null(str(inner)) for inner in field.fields)
        is_text = isinstance(field, serializers.CharField) and field.allow_blank
        return bool(field.allow_null or is_text)

    def _cleared(self, key: str) -> Any:
        """Return what null means in a change: text becomes empty, the rest is taken away."""
        field = self.fields[key]
        if isinstance(field, serializers.CharField) and not isinstance(
            field, serializers.ChoiceField
        ):
            return "" if field.allow_blank else None
        return None

    def _refuse_unknown(self, data: Mapping[str, Any]) -> None:
        errors: dict[str, list[Any]] = {}
        writable = [name for name, field in self.fields.items() if not field.read_only]
        for key in data:
            field = self.fields.get(key)
            if field is None:
                near = difflib.get_close_matches(key, writable, n=1)
                hint = f"; did you mean '{near[0]}'?" if near else f": known are {writable}"
                errors[key] = [self._refusal("unknown", key, hint)]
            elif field.read_only:
                errors[key] = [self._refusal("read_only", key, "")]
        if errors:
            raise serializers.ValidationError(errors)

    def _refusal(self, code: str, key: str, hint: str) -> Any:
        text = str(self.error_messages[code]).format(key=key[:60], hint=hint)
        return serializers.ErrorDetail(text, code=code)

    def typed(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Return the quantities of a body as they were typed, None where one is taken away."""
        kept: dict[str, Any] = {}
        for name, field in self.fields.items():
            if name not in data or field.read_only:
                continue
            if isinstance(field, GroupSerializer):
                inner = data[name]
                typed = field.typed(inner) if inner is not None else None
                # Nothing typed in it has a unit, such as in flags alone.
                if typed != {}:
                    kept[name] = typed
            elif getattr(field, "keeps_as_sent", False):
                kept[name] = data[name]
        return kept


class GroupSerializer(StrictSerializer):
    """Several columns that stand together under one key at the edge."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"source": "*", "required": False, **options})

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Take null for the whole group as null for each of its columns."""
        if data is None:
            return super().run_validation(dict.fromkeys(self.fields))
        return super().run_validation(data)


class RecordSerializer(StrictSerializer):
    """The fields that every resource has."""

    id = IdField(
        required=False,
        help_text="UUID of any version; the client may make it, so that sending again is safe.",
    )
    created_at = InstantField(read_only=True, help_text="When it was stored.")
    updated_at = InstantField(read_only=True, help_text="When it was last changed.")
    revision = serializers.IntegerField(
        read_only=True, help_text="Counts its states from 1; the ETag of answers."
    )
    as_sent = serializers.SerializerMethodField(
        help_text="Quantities exactly as typed, by field name, unit included."
    )

    hidden_as_sent: ClassVar[frozenset[str]] = frozenset()

    def get_as_sent(self, row: Any) -> dict[str, Any]:
        """Return what was typed."""
        return {key: item for key, item in row.as_sent.items() if key not in self.hidden_as_sent}


class RecordViewSet(GenericViewSet[Any]):
    """List, read, add and change the rows of one resource."""

    model: ClassVar[type[Record]]
    serializer_class: type[RecordSerializer]
    filters: ClassVar[tuple[Filter, ...]] = ()
    related: ClassVar[tuple[str, ...]] = ()
    gathered: ClassVar[tuple[str, ...]] = ()
    has_results: ClassVar[bool] = False
    """Whether rows have a result that is computed after they are stored."""
    http_method_names = METHODS
    lookup_value_regex = UUID_IN_PATH
    noun: ClassVar[str] = ""
    """What one row is called in the API's document."""

    def get_serializer(self, *args: Any, **options: Any) -> Any:
        """Return the resource's serializer."""
        return super().get_serializer(*args, **options)

    @property
    def actor(self) -> Actor:
        """Whoever is calling."""
        actor = self.request.user
        assert isinstance(actor, Actor)
        return actor

    def get_queryset(self) -> models.QuerySet[Any]:
        """Return what the caller may know of, with what an answer needs."""
        rows = access.visible(self.actor, self.model._default_manager.all())
        return rows.select_related(*self.related).prefetch_related(*self.gathered)

    @property
    def ordered_by(self) -> str:
        """The time that lists are ordered by: of the last change or outcome when syncing."""
        asked = self.request.query_params
        if self.has_results and COMPUTED_SINCE in asked:
            if UPDATED_SINCE in asked:
                words = f"goes by another time than {UPDATED_SINCE}; ask for one after the other"
                raise BadQuery({COMPUTED_SINCE: words})
            return "computation__settled_at"
        return "updated_at" if UPDATED_SINCE in asked else "created_at"

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse query parameters that nothing here reads."""
        super().initial(request, *args, **kwargs)
        refuse_chunks(request)
        filters.refuse_unknown(request, self.known_parameters())
        self.units = units_asked(request)

    def check_permissions(self, request: Request) -> None:
        """Say first that there is no such method; what it would need is then no question."""
        if request.method not in self.allowed_methods:
            raise MethodNotAllowed(str(request.method))
        super().check_permissions(request)

    def known_parameters(self) -> set[str]:
        """Return the query parameters that the action reads."""
        known = {filters.UNITS}
        if self.action == "list":
            known |= {item.name for item in self.all_filters()}
            known |= set(TimeCursorPagination.parameters)
        return known

    def all_filters(self) -> tuple[Filter, ...]:
        """Return the filters of lists, the one for syncing included."""
        since = Filter(
            UPDATED_SINCE,
            "updated_at__gte",
            "instant",
            "For syncing: only what was stored or changed then or later, ordered by that time, "
            "retired things included. Go back a minute from the last one seen: a change may be "
            "committed shortly after its time."
            + (
                " A result that is computed is no change of what it was computed from: ask with "
                f"`{COMPUTED_SINCE}` for those."
                if self.has_results
                else ""
            ),
        )
        return (*self.filters, since, *(_OUTCOMES if self.has_results else ()))

    def get_serializer_context(self) -> dict[str, Any]:
        """Hand the units of answers to the serializers."""
        return {**super().get_serializer_context(), "units": getattr(self, "units", "si")}

    def represented(self, row: Any) -> dict[str, Any]:
        """Return a row as answers show it."""
        return dict(self.get_serializer(row).data)

    def represented_all(self, rows: list[Any]) -> list[Any]:
        """Return the rows of a page as answers show them."""
        return list(self.get_serializer(rows, many=True).data)

    def list(self, request: Request) -> Response:
        """Answer one page."""
        rows = filters.apply(self.get_queryset(), self.all_filters(), request)
        page = self.paginate_queryset(rows)
        assert page is not None
        return self.get_paginated_response(self.represented_all(page))

    def retrieve(self, request: Request, pk: str) -> Response:
        """Answer one row."""
        return self.answered(self.found(pk))

    def create(self, request: Request) -> Response:
        """Add a row; the same again answers 200 with what is stored."""
        body = self.get_serializer(data=request.data)
        body.is_valid(raise_exception=True)
        values = dict(body.validated_data)
        identifier = values.pop("id", None)
        return self.stored(self.add(values, body.typed(request.data), identifier))

    def partial_update(self, request: Request, pk: str) -> Response:
        """Change a row, if it is still the revision that the caller read."""
        row = self.found(pk)
        expected = revision_expected(request)
        body = self.get_serializer(row, data=request.data, partial=True)
        body.is_valid(raise_exception=True)
        values = dict(body.validated_data)
        identifier = values.pop("id", row.pk)
        if identifier != row.pk:
            raise serializers.ValidationError(
                {"id": ["An id can't be changed; leave it out."]}, code="read_only"
            )
        changed = self.change(row.pk, values, body.typed(request.data), expected)
        return self.answered(self.again(changed))

    def add(
        self, values: dict[str, Any], as_sent: dict[str, Any], identifier: UUID | None
    ) -> Recorded[Any]:
        """Add a row through its action."""
        return add_record(
            actor=self.actor,
            model=self.model,
            values=values,
            as_sent=as_sent,
            record_id=identifier,
            now=timezone.now(),
        )

    def change(
        self,
        identifier: UUID,
        values: dict[str, Any],
        as_sent: dict[str, Any],
        expected: int | None,
    ) -> Any:
        """Change a row through its action."""
        return change_record(
            actor=self.actor,
            model=self.model,
            record_id=identifier,
            values=values,
            as_sent=as_sent,
            expected_revision=expected,
            now=timezone.now(),
        )

    def found(self, pk: str) -> Any:
        """Return the row at an address, as far as the caller may know of it."""
        identifier = UUID(pk)
        row = self.get_queryset().filter(pk=identifier).first()
        if row is None:
            raise NotFound(f"There is no {self.model._meta.verbose_name} with the id {identifier}.")
        return row

    def again(self, row: Any) -> Any:
        """Return a row with what an answer needs, where that takes more than the row."""
        return self.found(str(row.pk)) if self.related or self.gathered else row

    def stored(self, recorded: Recorded[Any]) -> Response:
        """Answer a POST: 201 for what is new, 200 for what was stored already."""
        row = self.again(recorded.row)
        answer = self.answered(row)
        if recorded.is_new:
            answer.status_code = status.HTTP_201_CREATED
            answer["Location"] = f"{self.request.path}{row.pk}/"
        return answer

    def answered(self, row: Any) -> Response:
        """Answer a row with its revision as ETag."""
        return Response(self.represented(row), headers={"ETag": f'"{row.revision}"'})


def units_asked(request: Request) -> str:
    """Return the units of the answer: those asked for, else the company's."""
    asked = request.query_params.get(filters.UNITS)
    if asked is None:
        kept = Company.objects.values_list("default_units", flat=True).first()
        return str(kept or UnitSystem.IP)
    if asked not in UnitSystem.values:
        raise BadQuery({filters.UNITS: f"must be si or ip; {shown(asked)} came"})
    return asked


def revision_expected(request: Request) -> int | None:
    """Return the revision in If-Match; None where any will do (`*`)."""
    given = request.headers.get("If-Match", "").strip()
    if not given:
        raise MissingRevision
    if given == "*":
        return None
    match = _REVISION.match(given)
    if match is None:
        raise BadQuery({"If-Match": 'must be one revision, such as "3"'})
    return int(match[1])


class ItemsField(serializers.Field[list[dict[str, Any]], Any, Any, Any]):
    """A list of objects of one kind; in a change it comes whole, with every item complete."""

    default_error_messages = {
        "invalid": "A list is due; {came} came.",
        "length": "From {least} to {most} items are due; {count} came.",
    }

    def __init__(
        self,
        item: type[StrictSerializer],
        *,
        min_length: int = 0,
        max_length: int,
        **options: Any,
    ) -> None:
        self.item = item()
        self.min_length = min_length
        self.max_length = max_length
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> list[dict[str, Any]]:
        """Parse each item; say which ones are wrong."""
        if not isinstance(data, list):
            self.fail("invalid", came=shown(data))
        if not self.min_length <= len(data) <= self.max_length:
            self.fail("length", least=self.min_length, most=self.max_length, count=len(data))
        parsed = []
        errors: dict[str, Any] = {}
        for number, entry in enumerate(data):
            try:
                parsed.append(self.item.run_validation(entry))
            except serializers.ValidationError as error:
                errors[str(number)] = error.detail
        if errors:
            raise serializers.ValidationError(errors)
        return parsed

    def to_representation(self, value: Any) -> list[Any]:
        """Answer each item."""
        self.item._context = self.context
        return [self.item.to_representation(entry) for entry in value]


class TypedItemsField(ItemsField):
    """A list of objects with quantities, kept as typed."""

    keeps_as_sent = True
