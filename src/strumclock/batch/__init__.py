"""A folder of recordings, measured in parallel, only what is new, into the practice record."""

from strumclock.batch.cluster import cluster_executor
from strumclock.batch.files import find_recordings
from strumclock.batch.folder import measure_folder
from strumclock.batch.names import read_name
from strumclock.batch.report import BatchReport, Failure, Step
from strumclock.batch.single import Around, told_around

__all__ = [
    "Around",
    "BatchReport",
    "Failure",
    "Step",
    "cluster_executor",
    "find_recordings",
    "measure_folder",
    "read_name",
    "told_around",
]
