"""Where work runs: here, in processes, on a Dask cluster. Knows nothing of music.

A job is a pure function, its argument and a name. A workplace is where jobs run; it keeps its workers until it is left,
so that jobs which need what others made follow in a second call::

    with open_workplace(workers=None, cluster=None) as workplace:
        for outcome in run_jobs(phrases, workplace): ...
        for outcome in run_jobs(tracks, workplace): ...

Results are what the functions return, and files, which go to a `Store`.
"""

from tercet.jobs.job import Failure, Job, Outcome
from tercet.jobs.own_files import OwnFiles, own_file
from tercet.jobs.running import run_jobs
from tercet.jobs.store import FolderStore, RemoteStore, Store, store_at
from tercet.jobs.workplaces import ThisProcess, Workplace, cores, open_workplace

__all__ = [
    "Failure",
    "FolderStore",
    "Job",
    "Outcome",
    "OwnFiles",
    "RemoteStore",
    "Store",
    "ThisProcess",
    "Workplace",
    "cores",
    "open_workplace",
    "own_file",
    "run_jobs",
    "store_at",
]
