"""Tokens of a person's programs, on the person's page: made and shown once, revoked for ever."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from custody.actions.tokens import make_token, revoke_token
from custody.errors import Refusal
from custody.models import User
from custody.queries import scope
from custody.queries.tokens import tokens_of
from custody.roles import Verb
from custody.templatetags.metal import local_time
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

_NOTE = "A program records in this person's name by a token. It is shown once, when it is made."


def tokens_panel(user: User) -> Panel:
    """A person's tokens by their first digits, with what can be done about them."""
    tokens = list(tokens_of(user))
    facts = [
        Fact(label=f"{one.start}…", value=f"revoked {local_time(one.revoked_at)}", tone="stop")
        if one.revoked_at
        else Fact(label=f"{one.start}…", value=f"works, made {local_time(one.made_at)}", tone="good")
        for one in tokens
    ]
    seen = {"seen": str(tokens[0].pk if tokens else 0)}
    address = reverse("person-token-add", args=[user.username])
    actions = [Action(label="Make a token", url=address, method="post", values=seen)] if user.is_active else []
    actions += [
        Action(label=f"Revoke {one.start}…", url=reverse("person-token-revoke", args=[user.username, one.pk]),
               method="post", tone="stop")
        for one in tokens if not one.revoked_at
    ]  # fmt: skip
    return Panel(title="Tokens of programs", facts=facts, note=_NOTE, actions=actions)


@require_POST
@never_cache
@needs(Verb.MANAGE_PEOPLE)
def token_add(request: HttpRequest, username: str) -> HttpResponse:
    """Makes a token and shows it, here and never again: not after a redirect, which would have to keep it."""
    user = get_object_or_404(scope.people(request.user), username=username)
    seen = request.POST.get("seen", "")
    try:
        token, _ = make_token(user=user, by=request.user, seen=int(seen) if seen.isdecimal() and len(seen) < 19 else 0)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("person", username)
    return render(request, "staff/people/token.html", {"person": user, "token": token})


@require_POST
@needs(Verb.MANAGE_PEOPLE)
def token_revoke(request: HttpRequest, username: str, pk: int) -> HttpResponse:
    """Revokes a token."""
    user = get_object_or_404(scope.people(request.user), username=username)
    token = get_object_or_404(tokens_of(user), pk=pk)
    revoke_token(token=token, by=request.user)
    messages.success(request, f"Token {token.start}… is revoked: programs that send it are refused from now on.")
    return redirect("person", username)
