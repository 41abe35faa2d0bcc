"""Wanted tests: what the registry would learn most from, and who has taken it on."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from registry.errors import CleanstopError
from registry.pages.forms.wanted import WantedForm
from registry.pages.returning import back_to
from registry.wanted import queries, services

TESTS_A_PAGE = 30


@require_safe
def wanted_tests(request: HttpRequest) -> HttpResponse:
    form = WantedForm(request.GET)
    asked = form.asked()
    page = Paginator(queries.wanted_tests(**asked), TESTS_A_PAGE).get_page(request.GET.get("page"))
    page.object_list = queries.with_reservations(list(page.object_list))
    mine = queries.reservations_of(request.user) if request.user.is_authenticated else ()
    context = {"page": page, "form": form, "mine": mine, "narrowed": any(asked.values())}
    return render(request, "pages/wanted_tests.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "POST"])
def reserve(request: HttpRequest, number: int) -> HttpResponse:
    """Take a test on, or give it back. Whoever had to sign in first comes here by GET, and presses once more."""
    if request.method == "POST":
        test = queries.wanted_test(number)
        try:
            if request.POST.get("act") == "release":
                services.release_test(account=request.user, test=test)
                messages.info(request, f"{test} is free for others again.")
            else:
                held = services.reserve_test(account=request.user, test=test)
                messages.success(request, f"{test} is yours until {held.until:%d %B %Y}.")
        except CleanstopError as refusal:
            messages.warning(request, str(refusal))
    return back_to(request, "wanted-tests")
