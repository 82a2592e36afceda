"""A program that is busy with jobs for a minute, to be stopped: ``python -m tests.jobs.busy FOLDER PLACE``.

PLACE is a number of processes or a cluster's address. It ends as the command line does.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tercet.errors import TercetError
from tercet.jobs import open_workplace, run_jobs
from tests.jobs.work import clean_work, jobs_of


def main() -> int:
    folder, where = Path(sys.argv[1]), sys.argv[2]
    try:
        with open_workplace(int(where)) if where.isdigit() else open_workplace(cluster=where) as place:
            for _ in run_jobs(jobs_of(clean_work, *[folder] * 10), place):
                pass
    except TercetError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
