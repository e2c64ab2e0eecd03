"""Filling the record with the invented company: all or nothing, and only into an empty one."""

from __future__ import annotations

import datetime

import pytest

from airflow_jobs.demo import names
from airflow_jobs.demo.fill import RecordInUse, fill_demo_company
from airflow_jobs.models import Company, Site
from tests import factories

SEED = 1
TODAY = datetime.date(2026, 11, 25)


@pytest.mark.django_db(transaction=True)
def test_an_interrupted_fill_leaves_nothing() -> None:
    def interrupted(sentence: str) -> None:
        if "Writing" in sentence:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fill_demo_company(seed=SEED, today=TODAY, progress=interrupted)
    assert not Site.objects.exists()
    assert not Company.objects.exists()


@pytest.mark.django_db
def test_a_record_with_sites_of_its_own_is_left_alone() -> None:
    site = factories.make_site()
    with pytest.raises(RecordInUse, match="empty"):
        fill_demo_company(seed=SEED, today=TODAY, progress=lambda sentence: None)
    assert list(Site.objects.all()) == [site]


@pytest.mark.django_db
def test_a_company_that_was_set_up_before_takes_the_invented_name() -> None:
    company = factories.make_company(name="Ours", default_units="si")
    fill_demo_company(seed=SEED, today=TODAY, progress=lambda sentence: None)
    company.refresh_from_db()
    assert company.name == names.COMPANY_NAME
    assert company.default_units == "si"
