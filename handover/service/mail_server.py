"""The mail server that messages go through, from the settings. A password has no place in their file.

[mail]
host = "smtp.example.com"
port = 587                                   # 587 with starttls, 465 with tls
security = "starttls"                        # or "tls"; never in the open
user = "office@example.com"                  # where the server asks for one
password_env = "HANDOVER_MAIL_PASSWORD"      # the environment variable that holds the password
from = "office@example.com"                  # whose account sends; else the contractor of the message
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
    """Where messages go out, and how to log in there.

    Attributes:
        host: Its name, for which its certificate must speak.
        port: Of message submission.
        security: TLS from the first byte, or asked for by STARTTLS before anything else is said.
        user: None where the server asks for no login.
        sender: Whose account sends; None for the contractor of each message.
        password_env: The environment variable that holds the password.
        secret: The password from there, empty where there is none.
    """

    host: str
    port: int
    security: MailSecurity
    user: str | None = None
    sender: str | None = None
    password_env: str = ""
    secret: str = field(default="", repr=False)

    def password(self) -> str:
        """Return the password, empty where the server asks for none.

        Raises:
            UnusableInput: There is none, or a server would not accept it.
        """
        if self.user is None:
            return ""
        if self.secret and self.secret.isascii():
            return self.secret
        problem = "holds letters that a mail server does not take" if self.secret else "holds no password"
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
        UnusableInput: They name none.
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
