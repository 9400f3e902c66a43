"""Settings of sending that do not agree are refused, each with its name and a remedy."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from pydantic import SecretStr

from service.cli import main
from service.settings import Settings

MAIL = {"MAIL_FROM": "a@alder.example", "SMTP_HOST": "mail.alder.example"}
SMS = {"SMS_URL": "https://sms.example/send", "SMS_BODY": "to={to}&text={text}"}
SECRET = "hush-hush"  # noqa: S105 (invented)


@pytest.mark.parametrize(
    ("env", "said"),
    [
        ({"SMTP_USER": "a"}, "DIGSEASON_SMTP_HOST is missing"),
        ({"SMTP_HOST": "mail.alder.example"}, "DIGSEASON_MAIL_FROM is missing"),
        ({**MAIL, "MAIL_FROM": "a..b@alder.example"}, "is not one mail address; write it like"),
        ({**MAIL, "SMTP_SECURITY": "none"}, "only for a server on this machine"),
        ({**MAIL, "SMTP_SECURITY": "ssl"}, "DIGSEASON_SMTP_SECURITY = 'ssl'"),
        ({**MAIL, "SMTP_USER": "a"}, "DIGSEASON_SMTP_PASSWORD is missing"),
        ({**MAIL, "SMTP_PASSWORD": SECRET}, "DIGSEASON_SMTP_USER is missing"),
        (
            {**MAIL, "SMTP_USER": "a", "SMTP_PASSWORD": f"{SECRET}é"},
            "which alone a login can carry",
        ),
        ({**MAIL, "SMTP_HOST": "mail..example"}, "write the name of the mail server"),
        ({**MAIL, "SMTP_PER_MIN": "0"}, "DIGSEASON_SMTP_PER_MIN = '0'"),
        ({**SMS, "SMS_URL": f"ftp://sms.example/{SECRET}"}, "begins with https://"),
        ({**SMS, "SMS_URL": f"http://sms.example/{SECRET}"}, "anyone on the way reads the texts"),
        ({**SMS, "SMS_BODY": f"{SECRET}={{phone}}"}, "there is no place {phone}; the places are"),
        ({**SMS, "SMS_BODY": "text={text}"}, "must hold {to} or {digits}, and {text}"),
        ({**SMS, "SMS_METHOD": "GET"}, "GET has no body"),
        (
            {**SMS, "SMS_BODY": f'{{"{SECRET}": {{to}} "{{text}}"}}'},
            "DIGSEASON_SMS_BODY: is no JSON",
        ),
        ({**SMS, "SMS_HEADERS": f"Authorization: {SECRET}"}, "DIGSEASON_SMS_HEADERS: invalid json"),
        ({**SMS, "SMS_HEADERS": '{"X": "a\\nb"}'}, "a header is one line of ASCII"),
        ({**SMS, "SMS_SECRET": f"{SECRET}\n"}, "DIGSEASON_SMS_SECRET: is not one line of ASCII"),
        ({"LINK_SECRET": SECRET}, "DIGSEASON_LINK_SECRET: is shorter than 20 characters"),
        ({**SMS, "SMS_SECRET": f" {SECRET}"}, "without blanks around it"),
        ({**SMS, "SMS_HEADERS": f'{{"X-Key": " {SECRET}"}}'}, "DIGSEASON_SMS_HEADERS: a header"),
        ({**SMS, "SMS_SENDER": "Ñandú"}, "DIGSEASON_SMS_SENDER: is not one line of ASCII"),
        ({**SMS, "SMS_SUCCESS": "a.["}, "is no JMESPath"),
        ({**SMS, "SMS_ID": "/(/"}, "is no regular expression"),
        ({**SMS, "SMS_SUCCESS_STATUS": "ok"}, "write statuses and ranges"),
        ({**SMS, "SMS_MAIL_TO": "{to}@sms.example"}, "texts take one way"),
        ({"SMS_MAIL_TO": "{to}@sms.example"}, "needs a mail server"),
        ({**MAIL, "SMS_MAIL_TO": "all@sms.example"}, "holds no number"),
        ({**MAIL, "SMS_MAIL_TO": "{to}@sms@example"}, "makes no mail address"),
    ],
)
def test_what_does_not_agree_is_refused(env: dict[str, str], said: str, tmp_path: Path) -> None:
    named = {f"DIGSEASON_{name}": value for name, value in env.items()}
    result = CliRunner().invoke(main, ["--data", str(tmp_path), "outbox"], env=named)
    assert result.exit_code == 2
    assert said in result.output
    assert SECRET not in result.output


def test_two_faults_are_told_at_once(tmp_path: Path) -> None:
    env = {"DIGSEASON_SMTP_USER": "a", "DIGSEASON_SMS_URL": "https://sms.example"}
    result = CliRunner().invoke(main, ["--data", str(tmp_path), "outbox"], env=env)
    assert "DIGSEASON_SMTP_HOST is missing" in result.output
    assert "must hold {to}" in result.output


def test_no_secret_is_shown(tmp_path: Path) -> None:
    settings = Settings(
        data=tmp_path,
        database_url=f"postgresql://digseason:{SECRET}@db/digseason",
        mail_from=MAIL["MAIL_FROM"],
        smtp_host=MAIL["SMTP_HOST"],
        smtp_user="a",
        smtp_password=SECRET,  # type: ignore[arg-type]
        sms_url=f"https://sms.example/{SECRET}?to={{to}}&text={{text}}",
        sms_headers=f'{{"Authorization": "Bearer {SECRET}"}}',  # type: ignore[arg-type]
        sms_secret=SECRET,  # type: ignore[arg-type]
    )
    assert SECRET not in f"{settings!r} {settings}"


@pytest.mark.parametrize("name", Settings.model_fields)
def test_a_setting_that_may_hold_a_password_is_one_that_is_not_shown(name: str) -> None:
    field = Settings.model_fields[name]
    may_hold = re.search(r"secret|password|token|key|(?<!base)_url|headers|body", name)
    is_hidden = field.annotation is SecretStr or not field.repr
    assert is_hidden or not may_hold


@pytest.mark.parametrize(
    ("security", "port"), [("starttls", 587), ("tls", 465), ("none", 25)]
)  # source: [RFC-6409] (587), [RFC-8314] (465), [RFC-5321] (25), from memory
def test_the_port_follows_the_security(security: str, port: int, tmp_path: Path) -> None:
    settings = Settings(
        data=tmp_path,
        mail_from="a@alder.example",
        smtp_host="127.0.0.1",
        smtp_security=security,  # type: ignore[arg-type]
    )
    assert settings.smtp_port_used == port
