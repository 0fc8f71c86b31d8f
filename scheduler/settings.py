"""Settings from the environment; every one is named in README.md."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SecretStr, ValidationError

from rules.errors import BadInput
from scheduler.mail_address import sender_address


def _header_text(text: str) -> str:
    if not (text.isascii() and text.isprintable()):  # RFC 9110, 5.5
        raise ValueError("give ASCII letters, a request's header holds no others")
    return text


class Settings(BaseModel):
    """What an operator may set. Each field is read from ``CLOSEIN_<NAME>``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    store: str = ""  # address of the store; empty: closein.db beside the job file
    # Mail address or page sent to weather services with each request.
    contact: Annotated[str, AfterValidator(_header_text)] = ""
    nws_url: str = "https://api.weather.gov"
    cache: str = ""  # folder for answers of weather services; empty: the user's cache folder
    fetch_budget_s: float = Field(default=45.0, gt=0, le=600)  # time for all tries of one fetch
    grid_cells: Literal["nearest", "bilinear"] = "nearest"  # which cells of a grid file speak
    grid_lapse_rate: float | None = Field(default=None, ge=0, le=12)  # K/km; None: as the cell
    smtp_host: str = ""  # mail server; empty: no mail leaves, it waits in the outbox
    smtp_port: int = Field(default=587, ge=1, le=65535)
    smtp_security: Literal["starttls", "tls", "none"] = "starttls"
    smtp_user: str = ""  # login; empty: none
    smtp_password: SecretStr = SecretStr("")
    smtp_password_file: str = ""  # a file whose first line is the password, in its place
    smtp_from: Annotated[str, AfterValidator(sender_address)] = ""  # address of sender
    smtp_authority: str = ""  # file of certificates to trust; empty: the system's
    text_webhook: SecretStr = SecretStr("")  # address that short texts are posted to
    page_url: str = Field(
        default="", pattern=r"^(https?://[^\s<>\"]+)?$"
    )  # address of the pages as people reach them, for links in messages
    seed: int = Field(default=20261125, ge=0)  # of every random draw
    scenarios: int = Field(default=600, ge=10, le=20000)  # weather traces for the odds


def settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Read the settings.

    Raises
    ------
    BadInput
        If a variable holds what the setting cannot be.
    """
    source = os.environ if environment is None else environment
    given = {
        name: source[f"CLOSEIN_{name.upper()}"]
        for name in Settings.model_fields
        if source.get(f"CLOSEIN_{name.upper()}")
    }
    try:
        return Settings.model_validate(given)
    except ValidationError as error:
        fault = error.errors()[0]
        name = f"CLOSEIN_{str(fault['loc'][0]).upper()}"
        told = fault["msg"].removeprefix("Value error, ")
        raise BadInput(f"{name} is {fault['input']!r}; {told}") from error
