"""What people write: the job file, one YAML file (JOBFILE.md), and entries of the progress log."""

from scheduler.jobfile.entries import entries_of
from scheduler.jobfile.reading import parse, read
from scheduler.jobfile.tree import load

__all__ = ["entries_of", "load", "parse", "read"]
