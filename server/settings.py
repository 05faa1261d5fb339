"""Every setting of the program: one frozen class, read from the environment once."""

import difflib
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, ValidationError, field_validator, model_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

PREFIX = "UNDERLAMP_"
NOT_OURS = frozenset(
    PREFIX + name
    for name in (
        "LONG",
        "CHROMIUM",
        "REQUIRE_BROWSER",
        "REQUIRE_POSTGRESQL",
        "TEST_POSTGRESQL",
    )
)
"""Variables of that prefix which the tests read."""


class Unusable(ValueError):
    """A setting cannot be used; the words name it and say what would do."""


class Settings(BaseSettings):
    """Read from `UNDERLAMP_…` variables; the fields' descriptions are the help text."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="ignore")

    data: Path = Field(
        default=Path("data"), description="Folder of the club's database, copies and secrets."
    )
    database_url: SecretStr | None = Field(
        default=None,
        description="Address of a PostgreSQL database; empty: the embedded one in the data folder.",
    )
    public_url: str = Field(
        default="",
        description="Address members use, such as https://light.example.org; "
        "links in mail and invitations and the origin check need it behind a proxy.",
    )
    secure_cookies: bool = Field(
        default=False,
        description="Send the sign-in cookie over https only; follows the public address "
        "unless it is set.",
    )
    allowed_hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        default=(), description="Host names to answer to, with commas; empty: any."
    )
    trusted_proxies: Annotated[tuple[str, ...], NoDecode] = Field(
        default=(),
        description="Addresses or networks of proxies, with commas, whose word counts on who "
        "asks and whether by https; empty: nobody's.",
    )
    body_limit_mib: float = Field(
        default=9.0, gt=0, le=512, description="Largest request body, in MiB."
    )
    costly_processes: int = Field(
        default=2, ge=1, le=32, description="Processes for long calculations beside the server."
    )
    backup_to: Path | None = Field(
        default=None, description="Folder for a second copy of each daily backup, on another disk."
    )
    smtp_host: str = Field(default="", description="Mail server; empty: no mail is sent.")
    smtp_port: int = Field(default=587, ge=1, le=65535, description="Port of the mail server.")
    smtp_user: str = Field(default="", description="User at the mail server.")
    smtp_password: SecretStr | None = Field(
        default=None, description="Password at the mail server."
    )
    smtp_security: str = Field(
        default="starttls", pattern="^(starttls|tls|none)$", description="starttls, tls or none."
    )
    mail_from: str = Field(default="", description="Sender address of the club's mail.")

    @property
    def database_address(self) -> str | None:
        """Of the database that is named, if one is."""
        return self.database_url.get_secret_value() if self.database_url else None

    def elsewhere(self, *, data: Path, address: str | None) -> "Settings":
        """The same settings with another folder and database."""
        secret = SecretStr(address) if address else None
        return self.model_copy(update={"data": data, "database_url": secret})

    @model_validator(mode="before")
    @classmethod
    def _secure_with_https(cls, given: Any) -> Any:
        """An https address alone makes the cookie secure: forgetting a switch must not undo it."""
        if isinstance(given, dict) and str(given.get("public_url", "")).startswith("https://"):
            return {"secure_cookies": True} | given
        return given

    @field_validator("allowed_hosts", "trusted_proxies", mode="before")
    @classmethod
    def _split(cls, value: object) -> object:
        if isinstance(value, str):
            return tuple(part.strip() for part in value.split(",") if part.strip())
        return value

    @field_validator("database_url", mode="after")
    @classmethod
    def _none_when_empty(cls, value: SecretStr | None) -> SecretStr | None:
        return value if value and value.get_secret_value() else None

    @field_validator("public_url")
    @classmethod
    def _whole_address(cls, value: str) -> str:
        address = value.strip().rstrip("/")
        if not address:
            return ""
        parts = urlsplit(address)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("must be a whole address, such as https://light.example.org")
        if parts.path or parts.query or parts.fragment:
            raise ValueError("must end with the host name: Underlamp needs one of its own")
        return address


def read(environment: Mapping[str, str] = os.environ, **given: Any) -> Settings:
    """The settings of an environment; `given` ones go before. Raises Unusable.

    A secret may stand in a file that NAME_FILE names, as container and service managers hand
    them over.
    """
    refuse_unknown(environment)
    try:
        return Settings(**_from_files(environment) | given)
    except ValidationError as wrong:
        raise Unusable("\n".join(_words(one) for one in wrong.errors())) from wrong


def refuse_unknown(environment: Mapping[str, str]) -> None:
    """A mistyped name would be a setting that silently does not hold."""
    known = {PREFIX + name.upper() for name in Settings.model_fields} | _file_names() | NOT_OURS
    for name in sorted(environment):
        if name.upper().startswith(PREFIX) and name.upper() not in known:
            near = difflib.get_close_matches(name.upper(), sorted(known - NOT_OURS), 1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise Unusable(f"There is no setting {name}.{hint}")


def unsafe(settings: Settings) -> tuple[str, ...]:
    """What a steward should know of the settings, a sentence each."""
    found = []
    if settings.public_url.startswith("https://") and not settings.secure_cookies:
        found.append(
            "UNDERLAMP_SECURE_COOKIES is off although the public address is https: sign-ins "
            "could be read on the way."
        )
    if settings.smtp_host and settings.smtp_security == "none" and settings.smtp_password:
        found.append(
            "UNDERLAMP_SMTP_SECURITY is none: the mail server's password is sent unprotected."
        )
    return tuple(found)


def settings_help() -> str:
    """One line per setting: variable, default, what it does."""
    lines = []
    for name, field in Settings.model_fields.items():
        default = "" if field.default in (None, "", ()) else f" (default {field.default})"
        lines.append(f"  {PREFIX}{name.upper()}{default}\n      {field.description}")
    lines.append(f"  {', '.join(sorted(_file_names()))}\n      Files that hold these instead.")
    return "\n".join(lines)


def _secrets() -> list[str]:
    return [
        name
        for name, field in Settings.model_fields.items()
        if "SecretStr" in str(field.annotation)
    ]


def _file_names() -> set[str]:
    return {f"{PREFIX}{name.upper()}_FILE" for name in _secrets()}


def _from_files(environment: Mapping[str, str]) -> dict[str, str]:
    found = {}
    for name in _secrets():
        variable = f"{PREFIX}{name.upper()}_FILE"
        if file := environment.get(variable):
            try:
                found[name] = Path(file).read_text(encoding="utf-8").strip()
            except (OSError, UnicodeDecodeError) as reason:
                why = getattr(reason, "strerror", None) or "it is not text"
                raise Unusable(f"{variable}: {file} cannot be read: {why}.") from reason
    return found


def _words(wrong: Any) -> str:
    """One wrong setting, without the value: it may be a secret."""
    name = f"{PREFIX}{'_'.join(str(part) for part in wrong['loc'][:1]).upper()}"
    told = str(wrong["msg"]).removeprefix("Value error, ")
    told = told.replace("Input should be", "must be").replace("String should", "must")
    return f"{name}: {told}."
