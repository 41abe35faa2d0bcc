"""Moderators settle flags, block accounts or let them go on, and answer appeals."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.accounts.models import Block
from registry.accounts.queries import account_by_public_id, block_in_force
from registry.errors import InvalidInput
from registry.moderation.queries.alike import frames_alike
from registry.moderation.queries.care import appeal_by_number, appeals_waiting, block_by_number, flagged
from registry.moderation.queries.voices import decision_behind, findings
from registry.moderation.rules import check_may_moderate
from registry.moderation.services.appeals import answer_appeal, block_account, deciders_of, lift_block
from registry.moderation.services.flags import settle_flags
from registry.pages.forms.care import BlockForm
from registry.pages.problems import put_beside_fields
from registry.reports import queries


@login_required
@require_safe
def flags(request: HttpRequest) -> HttpResponse:
    """What readers flagged. Moderators only."""
    check_may_moderate(request.user)
    return render(request, "pages/review_flags.html", {"things": flagged()})


@login_required
@require_POST
def settle(request: HttpRequest, public_id: str) -> HttpResponse:
    """Settle what was flagged on one report, or on one of its pictures."""
    report = queries.report_for(public_id, request.user)
    name = request.POST.get("image", "")
    settled = settle_flags(
        by=request.user,
        report=report,
        image=queries.image_of(report, name) if name else None,
        outcome=request.POST.get("outcome", ""),
        reason=request.POST.get("reason", ""),
    )
    messages.success(request, f"Settled: {settled} flag{'' if settled == 1 else 's'}.")
    return redirect("review-flags")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def account(request: HttpRequest, public_id: str) -> HttpResponse:
    """One account as moderators see it: what it submitted, its blocks; blocking it."""
    check_may_moderate(request.user)
    shown = account_by_public_id(public_id)
    form = BlockForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            block = block_account(
                account=shown, by=request.user, reason=form.cleaned_data["reason"], until=form.ends()
            )
        except InvalidInput as error:
            put_beside_fields(form, error)
        else:
            until = f"until {block.until:%d %B %Y, %H:%M} UTC" if block.until else "until this is lifted"
            messages.success(request, f"{shown} submits nothing more {until}. It can appeal.")
            return redirect("review-account", public_id)
    context = {
        "shown": shown,
        "reports": list(queries.reports_of(shown).exclude(state="draft")[:50]),
        "blocked": block_in_force(shown) is not None,
        "blocks": Block.objects.filter(account=shown).select_related("by", "lifted_by"),
        "alike": frames_alike(shown),
        "looks_like": any(shown in finding.accounts for finding in findings()),
        "form": form,
    }
    return render(request, "pages/review_account.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def lift(request: HttpRequest, number: int) -> HttpResponse:
    """Let a blocked account submit again."""
    block = block_by_number(number)
    lift_block(block=block, by=request.user, reason=request.POST.get("reason", ""))
    messages.success(request, f"{block.account} may submit again.")
    return redirect("review-account", block.account.public_id)


@login_required
@require_safe
def appeals(request: HttpRequest) -> HttpResponse:
    """Appeals that wait. Moderators only; nobody answers one against their own decision."""
    check_may_moderate(request.user)
    rows = [
        (one, request.user.pk in deciders_of(one), decision_behind(one.voice) if one.voice else None)
        for one in appeals_waiting()
    ]
    return render(request, "pages/review_appeals.html", {"rows": rows})


@login_required
@require_POST
def answer(request: HttpRequest, number: int) -> HttpResponse:
    """Grant an appeal, or say why not."""
    answer_appeal(
        appeal=appeal_by_number(number),
        by=request.user,
        grant=request.POST.get("act") == "grant",
        answer=request.POST.get("reason", ""),
    )
    messages.success(request, "Answered; whoever appealed reads it under their account.")
    return redirect("review-appeals")
