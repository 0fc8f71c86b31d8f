"""No room imports or calls what it may not. The table stands in DEVELOPERS.md."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

PLANNING = {"rules", "scheduler.planning", "numpy"}
EDGE = {"rules", "scheduler.planning", "scheduler.interfaces", "numpy"}
MAY_IMPORT: dict[str, set[str]] = {
    "rules": {"rules", "numpy"},
    "rules/book.py": {"rules", "numpy", "pydantic"},
    "rules/book_rows.py": {"rules", "pydantic"},
    "scheduler/planning": PLANNING,
    "scheduler/planning/schedule/constraint_model.py": PLANNING | {"ortools"},
    "scheduler/interfaces": {"rules", "scheduler.planning", "scheduler.interfaces", "numpy"},
    "scheduler/mail_address.py": set(),
    "scheduler/jobfile": EDGE
    | {
        "scheduler.jobfile",
        "scheduler.mail_address",
        "pydantic",
        "pydantic_core",
        "ruamel",
        "holidays",
    },
    "scheduler/weather": EDGE
    | {"scheduler.weather", "requests", "requests_cache", "urllib3", "pandas", "pydantic"}
    | {"eccodes", "h5netcdf", "h5py"},
    "scheduler/store": EDGE | {"scheduler.store", "sqlalchemy", "alembic", "pydantic", "psycopg"},
    "scheduler/output": EDGE
    | {
        "scheduler.output",
        "scheduler.newjob",
        "rich",
        "jinja2",
        "matplotlib",
        "fpdf",
        "icalendar",
        "pandas",
        "PIL",
    },
    "scheduler/runs": EDGE | {"scheduler.runs", "scheduler.newjob"},
    "scheduler/service": EDGE | {"scheduler.service", "scheduler.runs", "scheduler.output"},
    "scheduler/service/timer.py": EDGE | {"scheduler.service", "apscheduler"},
    "scheduler/service/doctor.py": EDGE | {"scheduler.service", "scheduler.runs", "matplotlib"},
    "scheduler/service/health_page.py": EDGE | {"scheduler.service", "starlette"},
    "scheduler/service/signing_in.py": EDGE | {"scheduler.service", "argon2"},
    "scheduler/service/photos.py": EDGE | {"PIL"},
    "scheduler/web": EDGE
    | {"scheduler.web", "scheduler.service", "scheduler.output.words"}
    | {"starlette", "fastapi", "pydantic", "jinja2", "markupsafe", "anyio"},
    "scheduler/web/server.py": {"uvicorn"},
    "scheduler/mail": EDGE | {"scheduler.mail", "scheduler.mail_address", "requests"},
    "scheduler/settings.py": {"pydantic", "rules", "scheduler.mail_address"},
    "scheduler/startup.py": EDGE
    | {"scheduler.settings", "scheduler.jobfile", "scheduler.weather", "scheduler.store"}
    | {"scheduler.runs"},
    "scheduler/startup_service.py": EDGE
    | {"scheduler.settings", "scheduler.jobfile", "scheduler.startup", "scheduler.store"}
    | {"scheduler.runs", "scheduler.service", "scheduler.mail", "scheduler.web"},
    "scheduler/newjob": {"rules", "scheduler.newjob", "scheduler.planning", "numpy"},
    "scheduler/cli.py": {"rules", "scheduler.commands", "typer"},
    "scheduler/commands": EDGE
    | {
        "scheduler.commands",
        "scheduler.newjob",
        "scheduler.jobfile",
        "scheduler.startup",
        "scheduler.startup_service",
        "scheduler.service",
        "scheduler.store.copies",
        "scheduler.runs",
        "scheduler.output",
    }
    | {"typer", "rich", "scheduler.web.server"},
}
# Standard modules that touch a disk, a socket or a clock: the core does without them.
OUTSIDE = {
    "os", "socket", "ssl", "http", "urllib", "subprocess", "sqlite3", "tempfile", "shutil",
    "smtplib", "asyncio", "threading", "multiprocessing", "random", "time", "logging",
}  # fmt: skip
PURE = ("rules", "scheduler/planning", "scheduler/newjob")
IMPURE_CALLS = {
    "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "open", "print", "input",
    "np.random.seed", "np.random.rand", "np.random.normal", "np.load", "np.save",
}  # fmt: skip


def room_of(path: Path) -> str:
    relative = path.relative_to(ROOT).as_posix()
    named = [room for room in MAY_IMPORT if relative == room or relative.startswith(f"{room}/")]
    return max(named, key=len) if named else "scheduler/cli.py"


FILES = [
    (room_of(path), path)
    for top in ("rules", "scheduler")
    for path in sorted((ROOT / top).rglob("*.py"))
]


def imported(tree: ast.Module) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("." if node.level else node.module or ".")
    return names


@pytest.mark.parametrize(
    ("room", "path"), FILES, ids=[p.relative_to(ROOT).as_posix() for _, p in FILES]
)
def test_room_stays_within_its_walls(room: str, path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    standard = set(sys.stdlib_module_names)
    pure = room.startswith(PURE)
    allowed = MAY_IMPORT[room] | (standard - OUTSIDE if pure else standard)
    stray = sorted(
        name
        for name in imported(tree)
        if not any(name == ok or name.startswith(f"{ok}.") for ok in allowed)
    )
    assert stray == [], f"{path.name} of {room} imports {stray}"
    if pure:
        calls = {ast.unparse(n.func) for n in ast.walk(tree) if isinstance(n, ast.Call)}
        assert sorted(calls & IMPURE_CALLS) == [], f"{path.name} touches the outside"


def test_every_file_has_a_room() -> None:
    known = tuple(MAY_IMPORT)
    strays = [
        path.relative_to(ROOT).as_posix()
        for _, path in FILES
        if not path.relative_to(ROOT).as_posix().startswith(known)
        and path.relative_to(ROOT).as_posix() not in {"scheduler/__init__.py"}
    ]
    assert strays == []
