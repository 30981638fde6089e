"""The keeper of record for imported lots."""

from custody.models import User

HISTORY_USERNAME = "imported-history"


def history_keeper() -> User:
    """The keeper of record for imported lots: a name without a login."""
    user, made = User.objects.get_or_create(
        username=HISTORY_USERNAME, defaults={"first_name": "Imported", "last_name": "records", "is_active": False}
    )
    if made:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user
