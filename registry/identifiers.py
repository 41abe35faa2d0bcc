"""Public names of records: short, unguessable in sequence, readable aloud, never reused."""

import secrets

# Crockford's base 32 alphabet in lower case: no i, l, o or u, which are misread.
ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"


def new_public_id() -> str:
    """Ten characters, 50 random bits: collisions stay improbable far beyond a million records."""
    bits = secrets.randbits(50)
    return "".join(ALPHABET[bits >> shift & 31] for shift in range(0, 50, 5))
