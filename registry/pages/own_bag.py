"""“My bag”: kept by the account of whoever is signed in, and by the browser's session for anyone else."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest

from registry.bags import queries, services
from registry.bags.contents import Bag
from registry.bags.stored import read, written
from registry.errors import CleanstopError

SESSION_KEY = "bag"


def own_bag(request: HttpRequest) -> Bag:
    """The reader's bag. What they packed before they signed in goes into their account's bag now."""
    packed = request.session.get(SESSION_KEY)
    if not request.user.is_authenticated:
        return queries.bag_now(read(packed)) if packed else Bag()
    if packed:
        try:
            bag = services.keep_bag(owner=request.user, bag=read(packed))
        except CleanstopError as error:  # both together are too much: the account's is shown, nothing is lost
            messages.warning(request, f"What you packed before signing in could not be added: {error}")
            return queries.bag_of(request.user)
        del request.session[SESSION_KEY]
        messages.info(request, "What you packed before signing in is in your account’s bag now.")
        return bag
    return queries.bag_of(request.user)


def change_own_bag(request: HttpRequest, change: Callable[[Bag], Bag]) -> Bag:
    """Change the reader's bag; whatever `change` raises leaves it as it was."""
    if request.user.is_authenticated:
        return services.change_bag(owner=request.user, change=change)
    changed = change(own_bag(request))
    request.session[SESSION_KEY] = written(changed)
    return changed
