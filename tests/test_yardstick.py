"""What works too long is found, and what doesn't isn't."""

import pytest

from tests.yardstick import at_most, yardstick_s


def test_what_works_too_long_is_found() -> None:
    with pytest.raises(AssertionError, match="at most 2"), at_most(2):
        sum(yardstick_s() for _ in range(6))


def test_what_is_soon_done_is_not() -> None:
    with at_most(6):
        yardstick_s()
