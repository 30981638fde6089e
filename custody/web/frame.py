"""What the frame of every page shows: the house, the person, and the desks this person has."""

from django.http import HttpRequest
from django.urls import reverse

from custody.roles import Verb, is_staff, may

#: Desk, its front page, and the verbs of which a person needs one to see it.
DESKS = (
    ("Today", "today", (Verb.READ_BOOK,)),
    ("Counter", "counter", (Verb.RECEIVE,)),
    ("Parties", "parties", (Verb.KEEP_PARTIES, Verb.READ_BOOK)),
    ("Clearance", "clearance", (Verb.CLEAR, Verb.READ_BOOK)),
    ("Sampling", "sampling", (Verb.SAMPLE, Verb.READ_BOOK)),
    ("Laboratory", "laboratory", (Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)),
    ("Plant", "plant", (Verb.MELT, Verb.REFINE, Verb.CAST, Verb.SAMPLE, Verb.READ_BOOK)),
    ("Vault", "vault", (Verb.DISPATCH, Verb.HAND_OVER, Verb.READ_BOOK)),
    ("Scales", "scales", (Verb.WEIGH, Verb.KEEP_SCALES, Verb.READ_BOOK)),
    ("Settlement", "settlements", (Verb.SETTLE, Verb.READ_BOOK)),
    ("Trace", "trace-start", (Verb.TRACE,)),
    ("Book", "book", (Verb.READ_BOOK,)),
    ("Balance", "balance", (Verb.READ_BOOK,)),
    ("People", "people", (Verb.MANAGE_PEOPLE,)),
    ("My deliveries", "portal", (Verb.READ_OWN,)),
)


def frame(request: HttpRequest) -> dict:
    """Context processor: navigation, refinery and roles for templates/base.html."""
    refinery = getattr(request, "refinery", None)
    context = {"refinery_name": refinery.name if refinery else "", "nav": [], "role_words": ""}
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return context
    context["own_only"] = not is_staff(user.roles)
    context["role_words"] = ", ".join(role.label for role in sorted(user.roles))
    for label, name, verbs in DESKS:
        if any(may(user.roles, verb) for verb in verbs):
            url = reverse(name)
            current = request.path == url or (request.path.startswith(url) and url != "/")
            context["nav"].append({"label": label, "url": url, "current": current})
    return context
