"""People and the roles they were given."""

from django.contrib.auth.models import AbstractUser
from django.db import models

from custody.terms import Role


class User(AbstractUser):
    """A person with a login of their own; a customer's person belongs to a party."""

    party = models.ForeignKey("custody.Party", null=True, blank=True, on_delete=models.PROTECT, related_name="people")

    class Meta:
        ordering = ("username",)

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def roles(self) -> frozenset[Role]:
        """The roles this person has now; read once per request and person."""
        if not hasattr(self, "_roles"):
            self._roles = frozenset(Role(grant.role) for grant in self.role_grants.all())
        return self._roles


class RoleGrant(models.Model):
    """One role of one person."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="role_grants")
    role = models.CharField(max_length=30, choices=Role.choices())
    granted_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    granted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("user", "role"), name="one_grant_per_role")]
        ordering = ("role",)

    def __str__(self) -> str:
        return f"{self.user}: {self.role}"


class ApiToken(models.Model):
    """A program's key to the HTTP API, in the name of one person. Only its hash is kept; a revoked one stays known."""

    writable = {"INSERT", "UPDATE"}

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="api_tokens")
    sha256 = models.CharField(max_length=64, unique=True)
    start = models.CharField(max_length=8)
    made_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
