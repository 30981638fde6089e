"""A countersignature: the second person's own credentials, asked for on the spot."""

from dataclasses import dataclass

from django.contrib.auth import authenticate
from django.http import HttpRequest

from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import User
from custody.roles import Verb


@dataclass(frozen=True, slots=True)
class Signature:
    """Who signs beside the acting person, with what meaning."""

    user: User
    meaning: str

    def as_request(self) -> dict:
        """The keys that the posting function reads."""
        return {"countersigned_by": self.user.pk, "countersign_meaning": self.meaning}


def countersign(
    *, username: str, password: str, meaning: str, verb: Verb = Verb.COUNTERSIGN, request: HttpRequest | None = None
) -> Signature:
    """Checks the second person's credentials and right. With a web ``request`` failed tries are throttled.

    Raises ``Refusal`` for wrong credentials and ``NotAllowed`` for a person without the right.
    """
    if not meaning.strip():
        raise Refusal("Say what the signature means.").at("countersign")
    if request is not None:
        user = authenticate(request, username=username, password=password)
    else:
        user = User.objects.filter(username=username, is_active=True).first()
        user = user if user and user.check_password(password) else None
    if user is None:
        raise Refusal("The second person's name or password is not right. Nothing was recorded.").at("countersign")
    require(user, verb)
    return Signature(user, meaning.strip())
