"""Lenses that a reader watches, what they were told, and how they are written to."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.accounts.queries import email_is_confirmed
from registry.errors import CleanstopError
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.mail import MailForm
from registry.pages.problems import put_beside_fields
from registry.pages.returning import back_to
from registry.standings.queries import lens_rows
from registry.watching import mails, queries, services

NOTICES_A_PAGE = 30


@login_required
@require_safe
def my_watches(request: HttpRequest) -> HttpResponse:
    """The lenses watched, each with what is said of it at the reader's cut-on."""
    own = camera.remembered(request)
    lenses = [watch.lens for watch in queries.watches_of(request.user)]
    rows = lens_rows(lenses, cut_on_nm=own.cut_on_nm, visible_ev=own.visible_ev)
    context = {"rows": rows, "seen": own, "scale": common_scale(row.ladder for row in rows)}
    return render(request, "pages/my_watches.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def watch_lens(request: HttpRequest, slug: str) -> HttpResponse:
    """Begin or stop watching a lens. Whoever had to sign in first comes here by GET, and presses once more."""
    lens = gear_by_slug(GearKind.LENS, slug)
    if request.method == "POST" and request.POST.get("act") == "stop":
        services.unwatch_lens(account=request.user, lens=lens)
        messages.info(request, f"You no longer watch {lens}.")
    elif request.method == "POST":
        services.watch_lens(account=request.user, lens=lens)
        messages.success(request, f"You watch {lens}: a notice tells you when its verdict changes.")
    return back_to(request, lens_address(slug))


def lens_address(slug: str) -> str:
    return redirect("lens", slug=slug).url


@login_required
@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """What concerns the reader, newest first; those not read yet are marked in words."""
    page = Paginator(queries.notices_of(request.user), NOTICES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "told": queries.notices_told(page.object_list),
        "choice": queries.mail_choice_of(request.user),
    }
    return render(request, "pages/notices.html", context)


@login_required
@require_POST
def read_notices(request: HttpRequest) -> HttpResponse:
    """Mark one notice as read, or all of them."""
    number = request.POST.get("notice", "")
    services.mark_read(
        account=request.user, notice_id=int(number) if number.isascii() and number.isdigit() else None
    )
    return back_to(request, "notices")


@login_required
@require_http_methods(["GET", "POST"])
def mail_choice(request: HttpRequest) -> HttpResponse:
    """How the reader is written to."""
    choice = queries.mail_choice_of(request.user)
    form = MailForm(request.POST or None, initial=MailForm.initial_from(choice))
    if request.method == "POST" and form.is_valid():
        try:
            services.choose_mail(account=request.user, **form.cleaned_data)
        except CleanstopError as error:
            put_beside_fields(form, error)
        else:
            messages.success(request, "Your choice is kept.")
            return redirect("notices")
    context = {
        "form": form,
        "address": request.user.email,
        "confirmed": email_is_confirmed(request.user),
    }
    return render(request, "pages/mail_choice.html", context, status=422 if form.errors else 200)


@csrf_exempt  # mail programs press it themselves, without a page of ours before (RFC 8058, 3.1)
@require_http_methods(["GET", "POST"])
def stop_mail(request: HttpRequest, token: str) -> HttpResponse:
    """End all mail to the account that a letter went to. Opening the link only asks; pressing the button acts."""
    if request.method == "POST":
        services.stop_mail(token=token)
    else:
        mails.account_behind(token)
    return render(request, "pages/stop_mail.html", {"token": token, "stopped": request.method == "POST"})
