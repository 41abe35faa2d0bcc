"""Going back to the page that a button was pressed on, but never to another site."""

from django.http import HttpRequest, HttpResponseRedirect
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme


def back_to(request: HttpRequest, otherwise: str) -> HttpResponseRedirect:
    """Redirect to the form's `back`, if it is an address of ours. otherwise: a URL name or a path."""
    back = request.POST.get("back", "")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    return redirect(back if safe else otherwise)
