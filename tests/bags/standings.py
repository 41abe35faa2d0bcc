"""Standings made up for the bag's tests, as the standings room stores them."""

from registry.optics.stops import exact_av
from registry.standings.models import PriorsEdition, Standing

STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22)


def standing(lens, clean_to, *, zone="33-47", group="700-780", tested_to=16, **fields):
    """A lens of one zone that is stated as clean up to an f-number; None: nowhere."""
    edition, _ = PriorsEdition.objects.get_or_create(
        number=1, defaults={"method_version": "test", "content": {}, "in_force": True}
    )
    stops = [
        {
            "f_number": stop,
            "p_clean": 0.9 if clean_to and stop <= clean_to else 0.2,
            "low": 0.1,
            "high": 0.95,
            "tested": stop <= tested_to,
            "on_ladder": True,
        }
        for stop in STOPS
        if stop >= lens.widest_f
    ]
    values = {
        "verdict": "clean-to" if clean_to else "never-clean",
        "f_number": clean_to,
        "words": f"clean to f/{clean_to:g}" if clean_to else "never clean",
        "clean_to_av": exact_av(clean_to) if clean_to else None,
        "confidence": "fair",
        "n_reports": 3,
        "n_independent": 3,
        "stops": stops,
        "leads": True,
        "sentence": f"clean to f/{clean_to:g}" if clean_to else "never clean",
        "detail": {"says": None},
        "fingerprint": f"{lens.pk}-{zone}-{group}",
        "method_version": "test",
        "priors": edition,
    }
    return Standing.objects.create(lens=lens, cut_on_group=group, focal_zone=zone, **values | fields)
