"""The error family. One class above all; ``lines`` is what a person reads, one per fault."""

from __future__ import annotations

from collections.abc import Iterable


class CloseinError(Exception):
    """Anything Closein refuses to do; the command prints ``lines``, exits with ``exit_code``."""

    exit_code = 2

    def lines(self) -> list[str]:
        """Return one line for each fault, in plain words."""
        return [str(self)]


class BadInput(CloseinError):
    """Something given to Closein cannot be used."""


class OutOfRange(BadInput):
    """A value that only a unit mix-up can cause."""


class FileFault(BadInput):
    """One fault at one place of a file: where, what, and what would be right."""

    def __init__(
        self,
        file: str,
        field: str,
        value: object,
        want: str,
        *,
        line: int | None = None,
        column: int | None = None,
    ) -> None:
        self.file, self.field, self.value, self.want = file, field, value, want
        self.line, self.column = line, column
        place = file if line is None else f"{file}:{line}"
        if line is not None and column is not None:
            place += f":{column}"
        super().__init__(f"{place}: {field} is {_short(value)}; {want}")


class JobFileFault(FileFault):
    """One fault of a job file."""


class BookFault(FileFault):
    """One fault of the rule book; ``value`` None where a whole row is at fault."""

    def __init__(self, file: str, field: str, value: object, want: str) -> None:
        super().__init__(file, field, value, want)
        if value is None:
            self.args = (f"{file}: {field}: {want}",)


class WeatherFileFault(FileFault):
    """One fault of a weather file."""


class Faults(BadInput):
    """All faults of one input, so that they are mended in one go."""

    def __init__(self, faults: Iterable[CloseinError]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(line for fault in self.faults for line in fault.lines()))

    def lines(self) -> list[str]:
        """Return the lines of every fault, in order."""
        return [line for fault in self.faults for line in fault.lines()]


class LogRefused(BadInput):
    """A log entry that cannot be taken; nothing was written."""


class StoreFault(CloseinError):
    """The store cannot be opened, is locked, or does not hold what was asked for."""


class LogMoved(StoreFault):
    """Somebody else wrote to the log in between; read it again and check the entries again."""


class NotNow(CloseinError):
    """What was asked for is fine but cannot be done at this moment; it may be asked again."""


class WeatherUnavailable(CloseinError):
    """No usable weather could be had; says from where and why."""

    exit_code = 3


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."
