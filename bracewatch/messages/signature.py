"""The provider's signature on what it sends us (`X-Twilio-Signature`). Pure.

Source: Twilio's public security documentation, "Validating requests": the full address and every POST field
sorted by name, name followed by value, under HMAC-SHA1 with the account's secret, in base64. READ
"""

import base64
import hmac
from collections.abc import Iterable, Iterator
from typing import Final
from urllib.parse import urlsplit

HEADER: Final = "X-Twilio-Signature"
_DEFAULT_PORTS: Final = {"https": 443, "http": 80}


def sign(secret: str, url: str, fields: Iterable[tuple[str, str]]) -> str:
    """The signature of a POST to `url`, in base64. `fields` are its names and values, decoded, in any order.

    A name that comes with several values is signed with each of them once, sorted. `url` is the address as
    the provider knows it, with its query as it stands there, percent signs and all.
    """
    signed = url + "".join(name + value for name, value in sorted(set(fields)))
    digest = hmac.digest(secret.encode(), signed.encode("utf-8", "surrogatepass"), "sha1")
    return base64.b64encode(digest).decode("ascii")


def is_signed(secret: str, url: str, fields: Iterable[tuple[str, str]], signature: str) -> bool:
    """Whether `signature` is that of the owner of `secret`, compared in constant time.

    The provider signs an address now with its port, now without, so both are tried (its own package does
    the same, READ).
    """
    given = signature.encode("utf-8", "surrogatepass")
    kept = list(fields)
    return any(hmac.compare_digest(sign(secret, each, kept).encode(), given) for each in _with_and_without_port(url))


def _with_and_without_port(url: str) -> Iterator[str]:
    parts = urlsplit(url)
    host = parts.netloc.removesuffix(f":{parts.port}")
    yield parts._replace(netloc=host).geturl()
    yield parts._replace(netloc=f"{host}:{parts.port or _DEFAULT_PORTS[parts.scheme]}").geturl()
