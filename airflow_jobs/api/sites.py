"""Customers and sites."""

from __future__ import annotations

from airflow_jobs.models import Climate, Customer, Site
from airflow_jobs.units import ELEVATION

from .fields import DayField, QuantityField, ReferenceField, TextField, WordField, note
from .filters import Filter, by_id, by_word, retired
from .records import OPTIONAL, RecordSerializer
from .redaction import RedactedViewSet


class CustomerSerializer(RecordSerializer):
    """Whoever the work is done for."""

    name = TextField(max_length=200, help_text="The customer's name.")
    contact = note(max_length=2000, help_text="Whom to reach and how.")
    notes = note(max_length=10000, help_text="Anything worth keeping.")


class CustomerViewSet(RedactedViewSet):
    """Customers."""

    model = Customer
    serializer_class = CustomerSerializer
    noun = "a customer"
    filters = (Filter("name", "name__icontains", "text", "Only those whose name holds this."),)


class SiteSerializer(RecordSerializer):
    """A place with equipment."""

    name = TextField(max_length=200, help_text="The site's name.")
    customer = ReferenceField("customers", **OPTIONAL, help_text="Whose site it is.")
    address = note(max_length=2000, help_text="Postal address.")
    elevation = QuantityField(
        ELEVATION,
        source="elevation_m",
        **OPTIONAL,
        minimum=-500.0,
        maximum=9000.0,
        help_text="Height above sea level, -500 to 9,000 m: gives the pressure where no "
        "barometer was read.",
    )
    time_zone = TextField(
        max_length=64, help_text="Zone of the tz database, such as America/Chicago."
    )
    climate = WordField(
        Climate, **OPTIONAL, help_text="Picks the usual range where no target is known."
    )
    notes = note(max_length=10000, help_text="Anything worth keeping: gate codes, dogs, roofs.")
    retired_on = DayField(**OPTIONAL, help_text="From this day on it is no longer in use.")


class SiteViewSet(RedactedViewSet):
    """Sites."""

    model = Site
    serializer_class = SiteSerializer
    noun = "a site"
    filters = (
        by_id("customer", "customer_id", "Only sites of this customer."),
        by_word("climate", "climate", Climate, "Only sites in this climate."),
        Filter("name", "name__icontains", "text", "Only those whose name holds this."),
        retired(),
    )
