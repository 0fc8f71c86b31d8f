"""The job file: YAML in, planning dataclasses out, every error with its line."""
