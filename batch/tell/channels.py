"""The channels that a day document names, with their secrets from the environment or files."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.batch.tell.mail import Mail
from rushlight.batch.tell.secrets_kept import Secret, read_secret
from rushlight.batch.tell.sending import Channel
from rushlight.batch.tell.webhook import Webhook, key_of
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.tell_settings import parse_webhook

__all__ = ["ADDRESS", "KEY", "PASSWORD", "channels_of"]

PASSWORD, ADDRESS, KEY = "RUSHLIGHT_MAIL_PASSWORD", "RUSHLIGHT_WEBHOOK", "RUSHLIGHT_WEBHOOK_KEY"


def channels_of(day: ShootingDay, environment: Mapping[str, str] | None = None) -> list[Channel]:
    """Mail and webhook of a day, as far as it names them. OptionError naming what is missing, or the secret that will not do."""
    environment = os.environ if environment is None else environment
    tell = day.document.tell
    ca_file = day.place(tell.ca_file) if tell.ca_file else None
    if ca_file and not ca_file.is_file():
        raise OptionError("there is no such certificate", file=str(day.path), key="tell.ca_file")
    found: list[Channel] = []
    if tell.mail:
        found.append(_mail(day, ca_file, environment))
    if address := _address(day, environment):
        found.append(_webhook(day, address, ca_file, environment))
    return found


def _mail(day: ShootingDay, ca_file: Path | None, environment: Mapping[str, str]) -> Mail:
    tell = day.document.tell
    password = None
    if tell.user:
        file = day.place(tell.password_file) if tell.password_file else None
        password = read_secret(PASSWORD, file, environment)
        if password is None:
            text = f"has no password for user {tell.user}; it takes ${PASSWORD}, or `password_file` with a file of mode 0600"
            raise OptionError(text, file=str(day.path), key="tell.user")
    return Mail(
        to=tell.mail,
        sender=tell.sender,
        server=tell.server,
        port=tell.mail_port,
        security=tell.security,
        user=tell.user,
        password=password,
        ca_file=ca_file,
    )


def _address(day: ShootingDay, environment: Mapping[str, str]) -> Secret | None:
    """The webhook's address; what the document names comes first."""
    if day.document.tell.webhook:
        return Secret(day.document.tell.webhook)
    found = read_secret(ADDRESS, None, environment)
    if found:
        try:
            parse_webhook(found.reveal())
        except ValueError as error:
            raise OptionError(str(error), file=f"${ADDRESS}") from None
    return found


def _webhook(
    day: ShootingDay, address: Secret, ca_file: Path | None, environment: Mapping[str, str]
) -> Webhook:
    tell = day.document.tell
    file = day.place(tell.webhook_key_file) if tell.webhook_key_file else None
    key = read_secret(KEY, file, environment)
    if key is None:
        text = f"has no key to sign with; it takes ${KEY}, or `webhook_key_file` with a file of mode 0600: `openssl rand -base64 32` makes one"
        raise OptionError(text, file=str(day.path), key="tell.webhook")
    return Webhook(address=address, key=key_of(key, str(file) if file else f"${KEY}"), ca_file=ca_file)
