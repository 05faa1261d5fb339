"""Every setting of the program: one frozen class, read from the environment once."""

from pathlib import Path
from typing import Annotated

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict


class Settings(BaseSettings):
    """Read from `UNDERLAMP_…` variables; the fields' descriptions are the help text."""

    model_config = SettingsConfigDict(env_prefix="UNDERLAMP_", frozen=True, extra="ignore")

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
        "links in mail and the origin check need it behind a proxy.",
    )
    secure_cookies: bool = Field(
        default=False, description="Send the sign-in cookie over https only (set it with https)."
    )
    allowed_hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        default=(), description="Host names to answer to, with commas; empty: any."
    )
    body_limit_mib: float = Field(
        default=9.0, gt=0, le=512, description="Largest request body, in MiB."
    )
    costly_processes: int = Field(
        default=2, ge=1, le=32, description="Processes for long calculations beside the server."
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

    @field_validator("allowed_hosts", mode="before")
    @classmethod
    def _split(cls, value: object) -> object:
        if isinstance(value, str):
            return tuple(part.strip() for part in value.split(",") if part.strip())
        return value


def settings_help() -> str:
    """One line per setting: variable, default, what it does."""
    lines = []
    for name, field in Settings.model_fields.items():
        default = "" if field.default in (None, "", ()) else f" (default {field.default})"
        lines.append(f"  UNDERLAMP_{name.upper()}{default}\n      {field.description}")
    return "\n".join(lines)
