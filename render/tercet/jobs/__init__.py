"""Where work runs: here, in processes, on a Dask cluster. Knows nothing of music.

A job is a pure function, its argument and a name. A place is where jobs run; it keeps its workers until it is left, so
that jobs which need what others made follow in a second call::

    with open_place(workers=None, cluster=None) as place:
        for outcome in run_jobs(phrases, place): ...
        for outcome in run_jobs(tracks, place): ...

Results are what the functions return, and files, which go to a `Store`.
"""

from tercet.jobs.job import Failure, Job, Outcome
from tercet.jobs.own_files import OwnFiles, own_file
from tercet.jobs.places import Here, Place, cores, open_place
from tercet.jobs.running import run_jobs
from tercet.jobs.store import FolderStore, RemoteStore, Store, store_at

__all__ = [
    "Failure",
    "FolderStore",
    "Here",
    "Job",
    "Outcome",
    "OwnFiles",
    "Place",
    "RemoteStore",
    "Store",
    "cores",
    "open_place",
    "own_file",
    "run_jobs",
    "store_at",
]
