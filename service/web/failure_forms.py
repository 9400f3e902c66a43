"""The forms of why a message did not arrive, said in English by channels and servers, for the
catalogues: the longer ones first. What a server itself answers stays as it came.
"""

from __future__ import annotations

N_ = str
"""Marks words for the catalogues."""

FAILURES = (
    N_("{server} broke off amid a message ({why}); it is tried again, with the same Message-ID"),
    N_("{server} broke off ({why}); check DIGSEASON_SMS_URL if this stays"),
    N_("{server} broke off ({why})"),
    N_(
        "{server} answers: {answer}; it does not take mail from {address}: check "
        "DIGSEASON_MAIL_FROM and DIGSEASON_SMTP_USER"
    ),
    N_("{server} answers: {answer}"),
    N_(
        "{server} refuses the login of {user} ({answer}); check DIGSEASON_SMTP_USER and "
        "DIGSEASON_SMTP_PASSWORD: many providers want a password made for programs"
    ),
    N_("{server} offers no STARTTLS; {advice}"),
    N_(
        "{server} takes no login; {advice}, or leave out DIGSEASON_SMTP_USER where the server "
        "knows this machine"
    ),
    N_(
        "{server} shows a certificate that is not valid ({why}); write the name that stands in it "
        "as DIGSEASON_SMTP_HOST, or set SSL_CERT_FILE to the certificate of your own authority"
    ),
    N_("{server} does not speak TLS here ({why}); {advice}"),
    N_(
        "{server} does not answer within {seconds} s; check DIGSEASON_SMTP_HOST and whether a "
        "firewall is in between, or {advice}"
    ),
    N_("{server} closes the connection at once; {advice}"),
    N_("{server} cannot be reached ({why}); check DIGSEASON_SMTP_HOST and DIGSEASON_SMTP_PORT"),
    N_("try DIGSEASON_SMTP_SECURITY={other}, and the port that goes with it"),
    N_(
        "{server} answers {answer}; check DIGSEASON_SMS_URL, DIGSEASON_SMS_HEADERS, "
        "DIGSEASON_SMS_SECRET and the account"
    ),
    N_(
        "{server} answers {answer}; if that means that this number cannot be reached, say so with "
        "DIGSEASON_SMS_PERMANENT; if all texts get this, the gateway may have changed: look at "
        "DIGSEASON_SMS_BODY"
    ),
    N_("{server} answers {answer}"),
    N_("check DIGSEASON_SMS_URL and DIGSEASON_SMS_HEADERS: no request"),
    N_("{server} does not answer; check DIGSEASON_SMS_URL"),
    N_("{server}: its certificate is not valid ({why}); check DIGSEASON_SMS_URL"),
    N_("{server} does not answer within {seconds} s"),
    N_("cannot write {file}: {why}; make room there, or let it be written to"),
    N_("came back: {why}"),
    N_("late: {why}"),
    N_("no reason given"),
    N_("wants no more messages: {how}"),
    N_("one click in a mail program"),
    N_("by the link"),
    N_("by text: {text}"),
    N_("told before a restore"),
    N_("restored from {file}, whose last news is of {time} UTC"),
    N_("restored from {file}"),
    N_("no answer in time"),
    N_("connection refused"),
    N_("connection reset by peer"),
    N_("connection unexpectedly closed"),
    N_("no route to host"),
    N_("name or service not known"),
    N_("temporary failure in name resolution"),
)
