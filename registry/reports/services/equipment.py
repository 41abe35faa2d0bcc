"""What a contributor tests with: rigs and copies."""

from __future__ import annotations

import hashlib
import hmac

from django.conf import settings
from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.gear.holding import held
from registry.gear.models import Body, Lens
from registry.reports.models import Copy, Rig
from registry.reports.rules.details import read_rig
from registry.reports.rules.inputs import Input


@transaction.atomic
def save_rig(
    *, owner: Account, body: Body | str, conversion: str, cut_on_nm: float | None = None, label: str = ""
) -> Rig:
    """The owner's rig of this description, added if it is new.

    Raises InvalidInput for an unknown body, a wavelength outside 400–1100 nm, a long-pass conversion without its
    cut-on, or a cut-on of a body that has none.
    """
    source = Input({"body": body, "conversion": conversion, "cut_on_nm": cut_on_nm, "label": label})
    rig = read_rig(source, owner)
    source.raise_problems()
    return add_rig(rig)


def add_rig(rig: Rig) -> Rig:
    """Store a rig that its owner doesn't have yet; of two requests at once, the second gets the first's."""
    if rig.pk is not None:
        return rig
    Account.objects.select_for_update(no_key=True).get(pk=rig.owner_id)
    rig.body = held(rig.body)
    facts = {"owner": rig.owner, "body": rig.body, "conversion": rig.conversion, "cut_on_nm": rig.cut_on_nm}
    known = Rig.objects.filter(**facts, label=rig.label).first()
    if known is None:
        rig.save()
    return known or rig


@transaction.atomic
def save_copy(
    *, holder: Account, lens: Lens, label: str = "my copy", serial_number: str | None = None
) -> Copy:
    """The holder's copy of a lens under this label, added if it is new.

    The serial number is kept only as a keyed hash, which recognises the copy in another contributor's hands.
    Raises InvalidInput when the label already stands for a copy with another serial number.
    """
    lens = held(lens)
    hashed = hash_serial_number(lens, serial_number) if serial_number else ""
    copy, _ = Copy.objects.get_or_create(
        lens=lens, holder=holder, label=label or "my copy", defaults={"serial_hash": hashed}
    )
    if hashed and not copy.serial_hash:
        copy.serial_hash = hashed
        copy.save(update_fields=["serial_hash"])
    elif hashed and copy.serial_hash != hashed:
        raise InvalidInput(
            Problem(
                code="label-of-another-copy",
                field="copy.label",
                value=label,
                says=f"“{label}” is already your copy of {lens} with another serial number.",
                remedy="Give this copy another label.",
            )
        )
    return copy


def hash_serial_number(lens: Lens, serial_number: str) -> str:
    """Keyed hash of a lens's serial number; spaces, hyphens and case don't matter."""
    plain = "".join(sign for sign in serial_number if sign.isalnum()).upper()
    message = f"{lens.pk}:{plain}".encode()
    return hmac.new(settings.SERIAL_HASH_KEY.encode(), message, hashlib.sha256).hexdigest()
