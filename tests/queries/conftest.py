"""The book of tests/ledger, for questions to it."""

from tests.ledger.conftest import book  # noqa: F401
