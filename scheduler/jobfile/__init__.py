"""The job file: one YAML file that a person writes; JOBFILE.md says what may stand in it."""

from scheduler.jobfile.reading import parse, read
from scheduler.jobfile.tree import load

__all__ = ["load", "parse", "read"]
