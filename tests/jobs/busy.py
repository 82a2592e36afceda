"""A program that is busy with jobs for a minute, to be stopped: ``python -m tests.jobs.busy FOLDER WORKERS``."""

from __future__ import annotations

import sys
from pathlib import Path

from render.jobs import open_place, run_jobs
from tests.jobs.work import clean_work, jobs_of


def main() -> int:
    folder, workers = Path(sys.argv[1]), int(sys.argv[2])
    try:
        with open_place(workers) as place:
            for _ in run_jobs(jobs_of(clean_work, *[folder] * 10), place):
                pass
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
