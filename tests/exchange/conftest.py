"""Farms for these tests."""

from tests.farms import farm, postgres, small_store, store  # noqa: F401
