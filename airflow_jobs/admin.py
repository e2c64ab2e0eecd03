"""Administration pages: everything can be looked at with its history, little can be changed.

What is changed here goes through the same actions as over the API; measurements and results
can't be changed here at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Final

from django import forms
from django.contrib import admin
from django.contrib.auth.password_validation import validate_password
from django.core.paginator import Paginator
from django.db import models
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django_otp.plugins.otp_static.models import StaticDevice
from django_otp.plugins.otp_totp.models import TOTPDevice

from .actions.access import Actor
from .actions.one_time_codes import take_codes_away
from .actions.people import change_person, record_person
from .actions.records import change_record
from .actions.tokens import revoke_token
from .models import (
    Adjustment,
    BlowerTable,
    Calibration,
    Company,
    Computation,
    Crew,
    CrewMembership,
    Customer,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    FlowSetMember,
    Instrument,
    Person,
    PressureReading,
    ReportLink,
    Result,
    Site,
    Target,
    TemperatureRise,
    Token,
    Traverse,
    TraverseRevision,
    Visit,
    VisitHandover,
    companys_day,
)

# Generic for the type checker only.
if TYPE_CHECKING:
    _ModelAdmin = admin.ModelAdmin[Any]
    _TabularInline = admin.TabularInline[Any, Any]
    _PersonForm = ModelForm[Person]
else:
    _ModelAdmin, _TabularInline, _PersonForm = admin.ModelAdmin, admin.TabularInline, ModelForm

# The library's own pages would let secrets be set and one-time codes be changed past the actions.
admin.site.unregister([TOTPDevice, StaticDevice])

ENTRIES = 100
UNSAID = frozenset({"updated_at", "revision", "created_at"})


@dataclass(frozen=True)
class _Who:
    name: str

    def get_username(self) -> str:
        """Return the name that the page shows."""
        return self.name

    def get_full_name(self) -> str:
        """Return nothing more to show."""
        return ""


@dataclass(frozen=True)
class _Entry:
    """One state of a row, as the page of its history shows it."""

    action_time: Any
    user: _Who
    message: str

    def get_change_message(self) -> str:
        """Return what changed, from what to what."""
        return self.message


def _history(model: Any, key: object) -> Iterator[_Entry]:
    """Tell the states of a row, oldest first: when, who, before and after."""
    events = model.pgh_event_model.objects.filter(pgh_obj_id=key).select_related("pgh_context")
    names = [
        item.attname
        for item in model.pgh_event_model._meta.concrete_fields
        if not item.name.startswith("pgh_") and item.name not in UNSAID
    ]
    before = None
    for event in events.order_by("pgh_id"):
        context = event.pgh_context.metadata if event.pgh_context else {}
        if before is None:
            message = "Added"
        else:
            message = "; ".join(
                f"{name}: {getattr(before, name)!s} -> {getattr(event, name)!s}"
                for name in names
                if getattr(before, name) != getattr(event, name)
            )
        yield _Entry(event.pgh_created_at, _Who(context.get("actor_name", "")), message)
        before = event


class LookAdmin(_ModelAdmin):
    """Shows rows and their history; changes nothing."""

    list_display: Any = ("__str__", "updated_at", "revision")
    ordering: ClassVar[Any] = ("-updated_at", "-id")
    show_full_result_count = False
    actions: Any = None

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Adding goes through the API and the pages."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Changing goes through the API and the pages."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nothing is deleted: things are retired."""
        return False

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Show the history that the database keeps."""
        if not hasattr(self.model, "pgh_event_model"):
            return super().history_view(request, object_id, extra_context)
        paginator = Paginator(list(_history(self.model, object_id)), ENTRIES)
        page = paginator.get_page(request.GET.get("p", 1))
        return super().history_view(
            request,
            object_id,
            {
                "action_list": page,
                "page_range": paginator.get_elided_page_range(page.number),
                "pagination_required": paginator.count > ENTRIES,
                **(extra_context or {}),
            },
        )


def _actor(request: HttpRequest) -> Actor:
    person = request.user
    assert isinstance(person, Person)
    return Actor.of_person(person, today=companys_day(timezone.now()))


class PersonForm(_PersonForm):
    """Somebody with a sign-in; a password only where it is to be set."""

    password = forms.CharField(
        required=False,
        strip=False,
        label="New password",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Leave it empty to keep the present one.",
    )
    takes_codes_away = forms.BooleanField(
        required=False,
        label="Take the one-time codes away",
        help_text="For somebody who lost the phone and the recovery codes: make sure that it is "
        "they who ask. The password alone signs them in then; they are signed out everywhere and "
        "their tokens are revoked.",
    )

    class Meta:
        model = Person
        fields = ("username", "name", "role", "is_active")

    def clean_password(self) -> str | None:
        """Hold a new password to the rules."""
        password: str = self.cleaned_data["password"]
        if password:
            validate_password(password, self.instance)
        return password or None


@admin.register(Person)
class PersonAdmin(LookAdmin):
    """People may be added and changed here."""

    form = PersonForm
    list_display = ("username", "name", "role", "is_active", "one_time_codes_since")
    list_filter = ("role", "is_active", ("one_time_codes_since", admin.EmptyFieldListFilter))
    search_fields = ("username", "name")
    readonly_fields = ("one_time_codes_since",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Administrators add people here."""
        return admin.ModelAdmin.has_add_permission(self, request)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Administrators change people here."""
        return admin.ModelAdmin.has_change_permission(self, request, obj)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        """Offer to take one-time codes away where there are some, but never one's own."""
        fields = ["username", "name", "role", "is_active", "password"]
        if obj is not None and obj.needs_one_time_code:
            fields.append("one_time_codes_since")
        if _may_lose_codes(request, obj):
            fields.append("takes_codes_away")
        return fields

    def save_model(self, request: HttpRequest, obj: Person, form: Any, change: bool) -> None:
        """Add or change through the actions."""
        values = {name: form.cleaned_data[name] for name in PersonForm.Meta.fields}
        password = form.cleaned_data["password"]
        now = timezone.now()
        if change:
            change_person(
                actor=_actor(request),
                person_id=obj.pk,
                values=values,
                password=password,
                expected_revision=None,
                now=now,
            )
            # The form knows the field also where the page doesn't offer it.
            if form.cleaned_data["takes_codes_away"] and _may_lose_codes(request, obj):
                take_codes_away(actor=_actor(request), person_id=obj.pk, now=now)
        else:
            record_person(
                actor=_actor(request), values=values, password=password, person_id=obj.pk, now=now
            )


def _may_lose_codes(request: HttpRequest, person: Person | None) -> bool:
    """Whether codes are on that somebody else than the person may take away."""
    return person is not None and person.needs_one_time_code and person.pk != request.user.pk


SMALL_CREWS: Final = (
    "Consent of crews of fewer than three people to show by themselves in comparisons. Without it "
    "their jobs still are in the whole: where only one crew is that small, a manager can work out "
    "its numbers from the whole and the others. Ask its people in either case."
)


@admin.register(Company)
class CompanyAdmin(LookAdmin):
    """What of the company's settings is no quantity may be changed here."""

    changeable = (
        "name",
        "default_units",
        "time_zone",
        "compare_small_crews",
        "measure_every_months",
        "report_mark",
    )
    fields = (
        *changeable,
        "standard_density_kg_m3",
        "default_low_m3_s_per_w",
        "default_nominal_m3_s_per_w",
        "default_high_m3_s_per_w",
    )
    readonly_fields = fields[len(changeable) :]

    def formfield_for_dbfield(
        self, db_field: models.Field[Any, Any], request: HttpRequest, **kwargs: Any
    ) -> Any:
        """Say beside the consent what it hides, and what it doesn't."""
        if db_field.name == "compare_small_crews":
            kwargs["help_text"] = SMALL_CREWS
        return super().formfield_for_dbfield(db_field, request, **kwargs)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Administrators change the company here."""
        return admin.ModelAdmin.has_change_permission(self, request, obj)

    def save_model(self, request: HttpRequest, obj: Company, form: Any, change: bool) -> None:
        """Change through the action: results that depend on it are computed again."""
        change_record(
            actor=_actor(request),
            model=Company,
            record_id=obj.pk,
            values={name: form.cleaned_data[name] for name in form.changed_data},
            expected_revision=None,
            now=timezone.now(),
        )


@admin.register(Token)
class TokenAdmin(LookAdmin):
    """Tokens may be revoked here."""

    list_display = ("label", "person", "crew", "expires_at", "revoked_at", "last_used_at")
    list_select_related = ("person", "crew")
    exclude = ("digest",)
    actions = ("revoke",)

    @admin.action(description="Revoke the selected tokens", permissions=["view"])
    def revoke(self, request: HttpRequest, queryset: models.QuerySet[Token]) -> None:
        """Make tokens useless from now on."""
        for token in queryset:
            revoke_token(actor=_actor(request), token_id=token.pk, now=timezone.now())


@admin.register(ReportLink)
class ReportLinkAdmin(LookAdmin):
    """Links to visits' reports; they are made and revoked on the visit's page."""

    list_display = ("__str__", "visit", "made_by", "expires_at", "revoked_at", "last_opened_at")
    list_select_related = ("visit", "made_by")
    exclude = ("digest",)


class _LookInline(_TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Only to look at."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Only to look at."""
        return False


class _Members(_LookInline):
    model = CrewMembership


class _Summands(_LookInline):
    model = FlowSetMember


class _Revisions(_LookInline):
    model = TraverseRevision


class _Handovers(_LookInline):
    model = VisitHandover


@admin.register(Crew)
class CrewAdmin(LookAdmin):
    """Crews with their members."""

    inlines = (_Members,)


@admin.register(FlowSet)
class FlowSetAdmin(LookAdmin):
    """Flow-sets with their members."""

    inlines = (_Summands,)


@admin.register(Traverse)
class TraverseAdmin(LookAdmin):
    """Traverses with everything that was sent."""

    inlines = (_Revisions,)
    list_filter = ("stage", "mode", "call")


@admin.register(Visit)
class VisitAdmin(LookAdmin):
    """Visits, and which crews had them before."""

    inlines = (_Handovers,)


@admin.register(Computation)
class ComputationAdmin(LookAdmin):
    """What is to be computed, and what could not be."""

    list_display = ("__str__", "due_at", "attempts", "failure")
    list_filter = ("state",)
    ordering = ("-due_at", "-id")


@admin.register(Result)
class ResultAdmin(LookAdmin):
    """Every result there ever was."""

    list_display = ("__str__", "computed_at", "engine", "inputs_digest")
    list_filter = ("verdict",)
    ordering = ("-id",)


admin.site.register(
    [
        Adjustment,
        BlowerTable,
        Calibration,
        Customer,
        DuctSection,
        Equipment,
        FlowReading,
        Instrument,
        PressureReading,
        Site,
        Target,
        TemperatureRise,
    ],
    LookAdmin,
)
