from __future__ import annotations

import pytest

from tercet.errors import ParameterError, TercetError
from tercet.jobs import Failure, Job, Outcome
from tercet.jobs.job import carry_out, packed, unpacked
from tests.jobs.work import (
    full_disk,
    misspelt_song,
    result_that_stays,
    square,
    stubborn_error,
    unreadable_result,
)


def outcome_of(job: Job[int, object]) -> Outcome[int, object]:
    return unpacked(job, carry_out(packed(job)))


def test_a_job_is_carried_out() -> None:
    job = Job(square, 7, "seven")
    assert unpacked(job, carry_out(packed(job))) == Outcome(job, 49)
    assert Outcome(job, 49).value() == 49


def test_our_own_errors_keep_their_text() -> None:
    failure = outcome_of(Job(misspelt_song, 0, "waltz")).failure
    assert failure == Failure("line 3: this bar is too long\n1 mistake in waltz.yaml: line 3", exit_code=1)
    assert outcome_of(Job(full_disk, 0, "disk")).failure == Failure(
        "can't write demo.wav: the disk is full", exit_code=3
    )


def test_other_errors_tell_kind_text_and_for_a_log_where() -> None:
    failure = outcome_of(Job(stubborn_error, 0, "no")).failure
    assert failure is not None
    assert failure.message == "StubbornError: noway"
    assert 'raise StubbornError("no", "way")' in failure.detail


def test_a_result_that_cannot_be_carried_is_the_jobs_failure() -> None:
    stays = outcome_of(Job(result_that_stays, 0, "stays")).failure
    unreadable = outcome_of(Job(unreadable_result, 0, "unreadable")).failure
    assert stays is not None
    assert "pickle" in stays.message
    assert unreadable is not None
    assert unreadable.message.startswith("ZeroDivisionError")


def test_the_value_of_a_failed_job_names_the_job() -> None:
    outcome = outcome_of(Job(full_disk, 0, "Harbour Lanterns: echo"))
    with pytest.raises(TercetError, match=r"^Harbour Lanterns: echo: can't write") as caught:
        outcome.value()
    assert caught.value.exit_code == 3


def test_a_job_must_be_a_function_that_workers_can_import() -> None:
    def within(number: int) -> int:
        return number

    with pytest.raises(ParameterError, match="top of its module"):
        Job(within, 1, "within")
    with pytest.raises(ParameterError, match="top of its module"):
        Job(lambda number: number, 1, "unnamed")


def test_a_job_must_have_a_name() -> None:
    with pytest.raises(ParameterError, match="name must say what the job makes"):
        Job(square, 1, " ")
