"""The PostgreSQL of the lending tests, for the tests of carrying clubs about."""

from tests.web.lending.conftest import postgresql, postgresql_server

__all__ = ["postgresql", "postgresql_server"]
