"""The mail server for messages, from the settings. A password is not allowed in their file.

[mail]
host = "smtp.example.com"
port = 587                                   # 587 with starttls, 465 with tls
security = "starttls"                        # or "tls"; never unencrypted
user = "office@example.com"                  # if the server requires one
password_env = "HANDOVER_MAIL_PASSWORD"      # the environment variable that holds the password
from = "office@example.com"                  # the account that sends (default: the contractor)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handover.errors import Finding, UnusableInput
from handover.service.config_sources import EXAMPLE_SETTINGS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from handover.service.config import Config, MailSecurity

PORTS: Mapping[MailSecurity, int] = {"starttls": 587, "tls": 465}
"""Of message submission: RFC 6409, RFC 8314."""


@dataclass(frozen=True)
class MailServer:
    """The server that sends messages, and its login.

    Attributes:
        host: Its name, which its certificate must have.
        port: Its port for message submission.
        security: TLS from the first byte, or STARTTLS before anything else.
        user: The account; None if the server requires no login.
        sender: The address that sends; None for the contractor of each message.
        password_env: The environment variable that holds the password.
        secret: The password from there, empty if there is none.
    """

    host: str
    port: int
    security: MailSecurity
    user: str | None = None
    sender: str | None = None
    password_env: str = ""
    secret: str = field(default="", repr=False)

    def password(self) -> str:
        """Return the password, empty if the server requires none.

        Raises:
            UnusableInput: It is missing, or a server would not accept it.
        """
        if self.user is None:
            return ""
        if self.secret and self.secret.isascii():
            return self.secret
        problem = "has characters that a mail server does not accept" if self.secret else "has no password"
        finding = Finding(
            problem,
            field=self.password_env,
            expected=f"the password of {self.user} in this environment variable",
            example=f"read -rs {self.password_env} && export {self.password_env}",
        )
        raise UnusableInput([finding])


def mail_server(config: Config) -> MailServer:
    """Return the mail server of the settings.

    Raises:
        UnusableInput: There is none.
    """
    if config.mail_host is None:
        problem = "names no mail server" if config.file.exists() else "does not exist"
        finding = Finding(problem, file=str(config.file), expected="a table [mail]", example=EXAMPLE_SETTINGS)
        raise UnusableInput([finding])
    return MailServer(
        host=config.mail_host,
        port=config.mail_port or PORTS[config.mail_security],
        security=config.mail_security,
        user=config.mail_user,
        sender=config.mail_from,
        password_env=config.mail_password_env,
        secret=config.mail_password or "",
    )
