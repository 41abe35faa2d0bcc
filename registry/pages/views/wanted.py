"""Wanted tests: what the registry would learn most from, and who has taken it on."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from registry.consensus.cells import BANDS, band_label
from registry.errors import CleanstopError
from registry.gear.models import Mount
from registry.pages.returning import back_to
from registry.wanted import queries, services
from registry.wanted.filters import WantedFilters

TESTS_A_PAGE = 30


@require_safe
def wanted_tests(request: HttpRequest) -> HttpResponse:
    filters = WantedFilters(request.GET.dict())
    problems = filters.problems()
    tests = queries.most_wanted_of_each_lens(filters.qs)
    page = Paginator(tests, TESTS_A_PAGE).get_page(request.GET.get("page"))
    page.object_list = queries.with_other_cut_ons(queries.with_reservations(list(page.object_list)))
    context = {
        "page": page,
        "asked": filters.asked(),
        "problems": [(filters.form.fields[one.field].label, one) for one in problems],
        "mounts": Mount.objects.all(),
        "bands": [(band, band_label(band)) for band in BANDS],
        "mine": queries.reservations_of(request.user) if request.user.is_authenticated else (),
    }
    return render(request, "pages/wanted_tests.html", context, status=422 if problems else 200)


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
