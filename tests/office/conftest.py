"""What the tests of forms ask for: the people of the pages' tests."""

from tests.dashboards.conftest import administrator, crew, ip_company, manager, sign_in, technician

__all__ = ["administrator", "crew", "ip_company", "manager", "sign_in", "technician"]
