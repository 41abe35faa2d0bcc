"""What one earns by, so that one decides on nothing of it."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.gear.models import GearKind, Maker
from registry.gear.queries import gear_by_slug
from registry.moderation.models import Interest
from registry.moderation.services import declare_interest, withdraw_interest
from registry.pages.forms.review import InterestForm
from registry.pages.problems import put_beside_fields


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def interests(request: HttpRequest) -> HttpResponse:
    """The reader's own declared interests; declaring another, or that one is over."""
    makers = [(maker.slug, maker.name) for maker in Maker.objects.order_by("name")]
    ending = request.POST.get("end", "")
    if ending.isascii() and ending.isdigit():
        withdraw_interest(account=request.user, interest_id=int(ending))
        messages.info(request, "Noted: that is over.")
        return redirect("account-interests")
    form = InterestForm(request.POST or None, makers=makers)
    if request.method == "POST" and form.is_valid():
        sent = form.cleaned_data
        try:
            declare_interest(
                account=request.user,
                lens=gear_by_slug(GearKind.LENS, sent["lens"]) if sent["lens"] else None,
                maker=Maker.objects.get(slug=sent["maker"]) if sent["maker"] else None,
            )
            messages.success(request, "Declared: you decide on nothing of it from now on.")
            return redirect("account-interests")
        except CleanstopError as error:
            put_beside_fields(form, error)
    mine = Interest.objects.filter(account=request.user).select_related("lens__maker", "maker")
    return render(
        request,
        "pages/account_interests.html",
        {"form": form, "interests": mine},
        status=422 if form.errors else 200,
    )
