"""The service's edges, chosen by the settings: store, clock, mail server, webhook, desks."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import scheduler.jobfile
from rules.errors import BadInput, CloseinError, StoreFault
from scheduler.interfaces.messages import Watched
from scheduler.interfaces.protocols import Sender, Store
from scheduler.planning.model.job import SOURCES, Job, SourceChoice
from scheduler.runs.desk import Desk, Incoming
from scheduler.service.desks import Service
from scheduler.service.sending import Leases
from scheduler.settings import Settings, settings
from scheduler.startup import OF_JOB, Options, open_desk

if TYPE_CHECKING:
    from scheduler.store.sql_store import SqlStore

BRIEF: Final = "brief"  # kind of the answer that holds the job file as last read
DEFAULT_STORE: Final = "closein.db"


def now() -> datetime:
    """Return this machine's moment, UTC."""
    return datetime.now(UTC)


def open_service(
    store: str | None = None,
    *,
    beside: Path | None = None,
    clock: Callable[[], datetime] = now,
    steady: Callable[[], float] | None = None,
    leases: Leases | None = None,
) -> Service:
    """Open the store and choose the ways out.

    Parameters
    ----------
    store : str, optional
        Address of the store; else the setting, else ``closein.db``.
    beside : Path, optional
        A job file: the store that the other commands keep beside it is the default then.
    clock : callable
    steady : callable, optional
        Seconds that nobody sets; this machine's own where the clock is.
    leases : Leases, optional

    Raises
    ------
    CloseinError
        If a setting or the store cannot be used.
    """
    from scheduler.store import open_store

    setting = settings()
    default = beside.resolve().parent / DEFAULT_STORE if beside else DEFAULT_STORE
    opened = open_store(store or setting.store or str(default))
    jobs = _Jobs(opened)
    return Service(
        store=opened,
        clock=clock,
        job=jobs.job,
        desk=lambda watched, at, weather: watched_desk(watched, opened, at, weather),
        senders=senders(setting),
        sender=setting.smtp_from,
        page=setting.page_url,
        leases=leases or Leases(),
        steady=steady or (time.monotonic if clock is now else None),
    )


def store_address(address: str | None) -> str:
    """Return the address of the store that the option or the setting names."""
    return address or settings().store or DEFAULT_STORE


def named_store(address: str | None) -> SqlStore:
    """Open the store that the option or the setting names; it must be there already.

    Raises
    ------
    StoreFault
        If it is not there or cannot be used.
    """
    from scheduler.store.sql_store import SqlStore

    name = store_address(address)
    if "://" not in name and not Path(name).is_file():
        raise StoreFault(f"store {name} is not there; name it by --store or CLOSEIN_STORE")
    return SqlStore(name)


def take_note(store: Store, number: int, *, who: str, now: datetime) -> None:
    """Write down that a person has taken note of an alarm.

    Raises
    ------
    BadInput
        If nobody is named, or no alarm has that number.
    """
    from scheduler.service.links import person

    if not who.strip():
        raise BadInput("--seen needs --who: the name of the person who takes note")
    named = person(who)
    if number not in {alarm.number for alarm in store.outbox.alarms()}:
        raise BadInput(f"--seen {number}: no open alarm has that number; see closein messages")
    store.outbox.seen(number, who=named, now=now)


def watch(service: Service, files: tuple[Path, ...], *, weather: str, climate: str) -> list[str]:
    """Look after these jobs from now on and return their ids.

    Raises
    ------
    Faults
        If a job file cannot be used.
    """
    ids = []
    for file in files:
        own = scheduler.jobfile.parse(scheduler.jobfile.load(file), file=str(file))
        path = weather if weather in {OF_JOB, *SOURCES} else str(Path(weather).resolve())
        watched = Watched(
            own.id,
            str(file.resolve()),
            path,
            str(Path(climate).resolve()) if climate else "",
            service.clock(),
        )
        service.store.runs.watch(watched)
        ids.append(own.id)
    return ids


def pages(
    service: Service, *, wake: Callable[[], None] = lambda: None
) -> Any:  # an ASGI app, whichever library made it
    """Return the pages of the service; ``wake`` is called when something was written down."""
    from scheduler.service.alarms import alarms_told
    from scheduler.service.health import health_of
    from scheduler.service.no_pages import why_none
    from scheduler.service.posted import Taken, take
    from scheduler.service.replans import why_behind
    from scheduler.service.visitor import Visitor
    from scheduler.web.app import make_app
    from scheduler.web.site import Site

    def taken(visitor: Visitor, fields: Mapping[str, str], photo: bytes) -> Taken:
        told = take(service, visitor, fields, photo)
        wake()
        return told

    return make_app(
        Site(
            store=service.store,
            clock=service.clock,
            health=lambda: health_of(service),
            take=taken,
            alarms=lambda job: alarms_told(service.store, job, service.clock()),
            why_none=lambda job: why_none(service, job),
            behind=lambda job, position: why_behind(service, job, position),
            is_secure=service.page.startswith("https://"),
            root=service.page,
        )
    )


def links_told(
    address: str | None, job: str, *, who: str, may_log: bool, withdraw_from: str
) -> str:
    """Give, withdraw or list links to a job's pages, and say what was done.

    Raises
    ------
    BadInput
        If the store keeps nothing of the job, or the person has no link.
    """
    from scheduler.service.links import give, withdraw

    store = named_store(address)
    if job not in store.jobs():
        raise BadInput(f"the store keeps nothing of {job!r}; it has {', '.join(store.jobs())}")
    if withdraw_from:
        count = withdraw(store, job, withdraw_from, now=now())
        return f"withdrawn from {withdraw_from}: {count}"
    if who:
        token = give(store, job, who, now=now(), may_log=may_log)
        root = settings().page_url.rstrip("/")
        return f"{root}/p/{token}/\nfor {who}; it is shown once, only its hash is kept"
    standing = store.people.links(job)
    return "\n".join(f"{one.who}, since {one.given_at:%Y-%m-%d}" for one in standing) or "nobody"


def accounts_told(
    address: str | None,
    name: str,
    *,
    password: str,
    role: str,
    releases: tuple[str, ...],
    close: bool,
) -> str:
    """Open, change, close or list accounts, and say what was done.

    Raises
    ------
    BadInput
        If the name, the password or a role cannot be taken.
    """
    from rules.words import words
    from scheduler.interfaces.people import Role
    from scheduler.service.signing_in import close_account, open_account
    from scheduler.store import open_store

    opened = open_store(address or settings().store or DEFAULT_STORE)
    if close:
        close_account(opened, name, now=now())
        return f"closed: {name}; signed out everywhere"
    if name:
        known = sorted(words().roles)
        strange = [one for one in releases if one not in known]
        if strange:
            raise BadInput(f"--may-release {strange[0]!r}; want one of {', '.join(known)}")
        account = open_account(
            opened, name, password, role=Role(role), releases=releases, now=now()
        )
        return f"{account.name} signs in as {account.role.value}"
    lines = [
        f"{one.name}, {one.role.value}"
        + (f", releases as {', '.join(one.releases)}" if one.releases else "")
        + (", closed" if one.closed else "")
        for one in opened.people.accounts()
    ]
    return "\n".join(lines) or "nobody"


def watched_desk(watched: Watched, store: Store, at: datetime, weather: str) -> Desk:
    """Open the desk of a watched job; where its sources fail, it has what the store keeps."""
    options = Options(
        job=Path(watched.file),
        weather=_named(watched, weather),
        climate=Path(watched.climate) if watched.climate else None,
    )
    desk = open_desk(options, store=store, clock=at)
    return replace(desk, weather=lambda: _or_kept(desk.weather))


def senders(setting: Settings) -> Mapping[str, Sender]:
    """Return the ways out that are set, by channel.

    Raises
    ------
    BadInput
        If a mail server is named but not who sends, or a password file cannot be read.
    """
    from scheduler.mail.smtp import LOOPBACK, MailServer, Smtp
    from scheduler.mail.webhook import Webhook

    found: dict[str, Sender] = {}
    if setting.smtp_host:
        if not setting.smtp_from:
            raise BadInput("CLOSEIN_SMTP_FROM is not set; give the address that mail comes from")
        clear = setting.smtp_security == "none" and setting.smtp_host not in LOOPBACK
        if clear and setting.smtp_user:
            raise BadInput(
                "CLOSEIN_SMTP_SECURITY is 'none'; a password goes over starttls or tls only"
            )
        found["mail"] = Smtp(
            MailServer(
                host=setting.smtp_host,
                port=setting.smtp_port,
                security=setting.smtp_security,
                sender=setting.smtp_from,
                user=setting.smtp_user,
                password=_password(setting),
                authority=setting.smtp_authority,
            )
        )
    webhook = setting.text_webhook.get_secret_value()
    if webhook:
        if not webhook.startswith(("http://", "https://")):
            raise BadInput("CLOSEIN_TEXT_WEBHOOK is no address; it begins with https://")
        found["text"] = Webhook(webhook)
    return found


@dataclass(slots=True)
class _Jobs:
    """The jobs of watched files, read again when a file has changed."""

    store: Store
    known: dict[str, tuple[tuple[int, int], Job]] = field(default_factory=dict)

    def job(self, watched: Watched) -> Job:
        """Return the job as its file stands; where that is faulty, as it stood last.

        The run itself reads the file again and tells its faults to the people of that last job.
        """
        try:
            state = Path(watched.file).stat()
            stamp = (state.st_mtime_ns, state.st_size)
            if watched.file not in self.known or self.known[watched.file][0] != stamp:
                text = scheduler.jobfile.load(Path(watched.file))
                own = scheduler.jobfile.parse(text, file=watched.file)
                self.known[watched.file] = (stamp, own)
        except (CloseinError, OSError) as error:
            return _as_watched(self._last(watched, error), watched)
        return _as_watched(self.known[watched.file][1], watched)

    def _last(self, watched: Watched, error: Exception) -> Job:
        if watched.file in self.known:
            return self.known[watched.file][1]
        kept = self.store.decisions(watched.job, kind=BRIEF, last=1)
        if kept:
            return scheduler.jobfile.parse(kept[0].inputs.job_text, file=watched.file)
        if isinstance(error, CloseinError):
            raise error
        raise BadInput(f"{watched.file}: {error}") from error


def _as_watched(job: Job, watched: Watched) -> Job:
    """Return the job with the one source it is watched by, where that is not its own."""
    if watched.weather == OF_JOB:
        return job
    is_file = watched.weather not in SOURCES
    name = Path(watched.weather).name if is_file else watched.weather
    return replace(job, sources=(SourceChoice(name, file=watched.weather if is_file else ""),))


def _named(watched: Watched, weather: str) -> str:
    """Return what ``--weather`` would say for a look at one source by its name."""
    if weather in {"", OF_JOB} or watched.weather != OF_JOB:
        return weather if weather == "kept" else watched.weather
    if weather in SOURCES or weather == "kept":
        return weather
    return str(Path(watched.file).parent / weather)


def _or_kept(weather: Callable[[], Incoming | None]) -> Incoming | None:
    """Return what the sources answer; where none does, why, so that what is kept is judged."""
    try:
        return weather()
    except CloseinError as error:
        return Incoming((), tuple(error.lines()))


def _password(setting: Settings) -> str:
    if not setting.smtp_password_file:
        return setting.smtp_password.get_secret_value()
    try:
        text = Path(setting.smtp_password_file).read_text(encoding="utf-8")
    except OSError as error:
        raise BadInput(f"CLOSEIN_SMTP_PASSWORD_FILE: {error.strerror or error}") from error
    return text.partition("\n")[0].rstrip("\r")
