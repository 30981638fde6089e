"""Who comes in by which door: the one permission dialect of all views."""

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from custody.roles import Verb, may

View = Callable[..., HttpResponse]


def needs(*verbs: Verb) -> Callable[[View], View]:
    """The view is for people who may do at least one of these verbs; strangers are sent to the login."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not any(may(request.user.roles, verb) for verb in verbs):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.verbs = verbs
        return guarded

    return guard
