"""One's own account: what it is called, what acts for it, all that is in it, and leaving."""

from __future__ import annotations

from allauth.core import ratelimit
from allauth.mfa.utils import is_mfa_enabled
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.accounts.queries import email_is_confirmed, tokens_of
from registry.accounts.services import issue_token, rename, revoke_token
from registry.errors import CleanstopError, Conflict, InvalidInput, NotFound, Problem
from registry.pages.forms.own_account import SCOPE_WORDS, ClosingForm, NameForm, TokenForm
from registry.pages.problems import put_beside_fields, status_of
from registry.reports.models import ReportState
from registry.reports.own_data import archive_of
from registry.reports.services.leaving import leave_registry


@login_required
@require_safe
def account(request: HttpRequest) -> HttpResponse:
    """The ways to everything about one's account."""
    context = {
        "confirmed": email_is_confirmed(request.user),
        "second_factor": is_mfa_enabled(request.user),
        "tokens": tokens_of(request.user).count(),
    }
    return render(request, "pages/account.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def name(request: HttpRequest) -> HttpResponse:
    """Change the name that others see."""
    form = NameForm(request.POST or None, initial={"name": request.user.name})
    if request.method == "POST" and form.is_valid():
        try:
            renamed = rename(account=request.user, name=form.cleaned_data["name"])
            messages.success(request, f"You are called {renamed.name} now.")
            return redirect("account")
        except (InvalidInput, Conflict) as error:
            put_beside_fields(form, error)
            request.user.refresh_from_db()
    return render(request, "pages/account_name.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@never_cache
@require_http_methods(["GET", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """Tokens for programs. The secret of a new one is told in this answer only."""
    form = TokenForm(request.POST or None, account=request.user)
    secret = None
    if request.method == "POST" and form.is_valid():
        made = form.cleaned_data
        try:
            _, secret = issue_token(
                account=request.user, name=made["name"], scopes=made["scopes"], lives=form.lives()
            )
            form = TokenForm(account=request.user)
        except CleanstopError as error:
            put_beside_fields(form, error)
    context = {"form": form, "secret": secret, "tokens": tokens_of(request.user), "scope_words": SCOPE_WORDS}
    return render(request, "pages/account_tokens.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def revoke(request: HttpRequest, grant: int) -> HttpResponse:
    """End a token."""
    try:
        revoke_token(account=request.user, grant_id=grant)
        messages.success(request, "The token is revoked: programs that used it are turned away from now on.")
    except NotFound as error:
        messages.info(request, str(error))
    return redirect("account-tokens")


@login_required
@never_cache
@require_safe
def data(request: HttpRequest) -> StreamingHttpResponse:
    """Everything that is one's own, as a ZIP file made while it is sent."""
    response = StreamingHttpResponse(archive_of(request.user), content_type="application/zip")
    response["Content-Disposition"] = (
        f'attachment; filename="cleanstop-{request.user.public_id}-{timezone.now():%Y-%m-%d}.zip"'
    )
    return response


@login_required
@never_cache
@require_http_methods(["GET", "POST"])
def close(request: HttpRequest) -> HttpResponse:
    """Leave for good, after reading what that means, with the password."""
    form = ClosingForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            _not_too_often(request)
            leave_registry(account=request.user, **form.cleaned_data)
            logout(request)
            messages.success(
                request, "Your account is closed. What you contributed stays, under a pseudonym."
            )
            return redirect("home")
        except CleanstopError as error:
            put_beside_fields(form, error)
            status = status_of(error)[0]
    mine = request.user.reports
    context = {
        "form": form,
        "drafts": mine.filter(state=ReportState.DRAFT).count(),
        "public": mine.exclude(state=ReportState.DRAFT).count(),
        "pictures": request.user.images.exclude(report=None).exclude(picture="").count(),
    }
    return render(
        request, "pages/account_close.html", context, status=422 if form.errors and status == 200 else status
    )


def _not_too_often(request: HttpRequest) -> None:
    """Nobody guesses a password through this page: it counts with the other places that ask for it again."""
    if not ratelimit.consume(request, action="reauthenticate", user=request.user):
        raise Conflict(
            Problem(
                code="too-many-requests",
                field="password",
                says="The password was tried too often.",
                remedy="Wait a minute, then try again.",
            )
        )
