"""From where an account acts: noted as a short keyed code, so that accounts of one address can be seen to be so.

The address itself is never stored. Its code is 24 bits of a keyed hash: of the addresses of IPv4 some 256 share each
code, so that not even who holds the key can tell which one it was, while two unrelated addresses share a code once in
17 million. Of IPv6 the first 64 bits are hashed, which is one network's part (RFC 4291, 2.5.4). Addresses that only
mean something within a network (RFC 1918, 4193, 6598 and the like) tell no two places apart, and are not noted.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

from django.conf import settings
from django.utils import timezone

from registry.accounts.models import Account, AddressTrace

KEPT_FOR = timedelta(days=90)
CODE_DIGITS = 6  # hexadecimal: 24 bits
_WITHIN_A_NETWORK = [
    ip_network(block)
    for block in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12",
        "192.168.0.0/16", "::/127", "fc00::/7", "fe80::/10",
    )
]  # fmt: skip
_here: ContextVar[str] = ContextVar("address acted from", default="")


def address_of(meta: Mapping[str, str]) -> str:
    """The asking machine's address, from a request's WSGI variables. X-Forwarded-For counts only as far as our own
    proxies (settings.TRUSTED_PROXIES, how many) wrote it: what stands before that anyone may have made up."""
    proxies = settings.TRUSTED_PROXIES
    forwarded = [part.strip() for part in meta.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
    if proxies and len(forwarded) >= proxies:
        return forwarded[-proxies][:60]
    return meta.get("REMOTE_ADDR", "")


@contextmanager
def acting_from(address: str) -> Iterator[None]:
    """Whatever is done in here is done from this address; services need not be handed it."""
    token = _here.set(address)
    try:
        yield
    finally:
        _here.reset(token)


def note_address(account: Account) -> None:
    """Note that an account acts from here, where here is known."""
    code = code_of(_here.get())
    if code:
        AddressTrace.objects.update_or_create(
            account=account, code=code, defaults={"seen_at": timezone.now()}
        )


def code_of(address: str) -> str:
    """The short keyed code of an address; empty for what is no address, or is one within a network."""
    try:
        known = ip_address(address)
    except ValueError:
        return ""
    if isinstance(known, IPv6Address) and known.ipv4_mapped:
        known = known.ipv4_mapped
    if any(known.version == block.version and known in block for block in _WITHIN_A_NETWORK):
        return ""
    place = known.packed if isinstance(known, IPv4Address) else known.packed[:8]
    return hmac.new(settings.ADDRESS_HASH_KEY.encode(), place, hashlib.sha256).hexdigest()[:CODE_DIGITS]


def forget_addresses(now: datetime | None = None) -> int:
    """Delete codes that were last seen 90 days ago; returns how many."""
    return AddressTrace.objects.filter(seen_at__lt=(now or timezone.now()) - KEPT_FOR).delete()[0]
