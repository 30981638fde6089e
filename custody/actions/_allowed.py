"""The question every action asks first: may this person do this verb?"""

from custody.errors import NotAllowed
from custody.models import User
from custody.roles import Verb, may


def require(by: User, verb: Verb) -> None:
    """Raises ``NotAllowed`` unless the person is active and has a role that may do this verb."""
    if not by.is_active or not may(by.roles, verb):
        raise NotAllowed(f"{by} may not {verb}. Ask a manager for the role.")
