"""Whose key to the HTTP API a token is. Only its hash is known: 256 random bits need no salt and no slow hash."""

import hashlib

from django.db.models import QuerySet

from custody.models import ApiToken, User


def sha256_of(token: str) -> str:
    """What the book keeps of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def holder_of(token: str) -> User | None:
    """The active person whose unrevoked token this is."""
    found = ApiToken.objects.filter(sha256=sha256_of(token), revoked_at=None, user__is_active=True)
    one = found.select_related("user").first()
    return one.user if one else None


def tokens_of(user: User) -> QuerySet[ApiToken]:
    """A person's tokens, the latest first, the revoked ones too."""
    return ApiToken.objects.filter(user=user).select_related("revoked_by").order_by("-id")
