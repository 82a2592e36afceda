from __future__ import annotations

import os

import pytest

from tercet.errors import ParameterError
from tercet.jobs import ThisProcess, cores, open_workplace
from tercet.jobs.cluster import Cluster
from tercet.jobs.pool import WINDOWS_LIMIT, Pool


def test_one_job_at_a_time_is_here() -> None:
    assert isinstance(open_workplace(1), ThisProcess)


def test_several_are_a_pool() -> None:
    place = open_workplace(3)
    assert isinstance(place, Pool)
    assert place.workers == 3


def test_a_pool_has_a_limit() -> None:
    assert Pool(1000).workers == WINDOWS_LIMIT


def test_by_default_every_processor_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.workplaces.cores", lambda: 7)
    place = open_workplace()
    assert isinstance(place, Pool)
    assert place.workers == 7
    monkeypatch.setattr("tercet.jobs.workplaces.cores", lambda: 1)
    assert isinstance(open_workplace(), ThisProcess)


def test_cores_are_those_that_this_process_may_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "process_cpu_count", raising=False)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 3, 5}, raising=False)
    assert cores() == 3
    monkeypatch.delattr(os, "sched_getaffinity")
    monkeypatch.setattr(os, "cpu_count", lambda: 4)
    assert cores() == 4
    monkeypatch.setattr(os, "process_cpu_count", lambda: None, raising=False)
    assert cores() == 1


def test_a_cluster_is_not_reached_before_it_is_entered() -> None:
    place = open_workplace(cluster="tcp://192.0.2.1:8786")
    assert isinstance(place, Cluster)


def test_jobs_and_cluster_are_one_or_the_other() -> None:
    with pytest.raises(ParameterError, match="workers must be None where there is a cluster"):
        open_workplace(2, "tcp://192.0.2.1:8786")


@pytest.mark.parametrize("workers", [0, -2])
def test_fewer_than_one_process_is_refused(workers: int) -> None:
    with pytest.raises(ParameterError, match=rf"workers must be 1 or more \(got {workers}\)"):
        open_workplace(workers)
