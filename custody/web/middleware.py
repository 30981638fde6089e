"""Every screen shows the refinery's local time."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from custody.models import Refinery


class RefineryMiddleware:
    """Puts the refinery (None in an empty book) on the request and its time zone in force."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.refinery = Refinery.objects.first()
        zone = ZoneInfo(request.refinery.time_zone) if request.refinery else timezone.get_default_timezone()
        with timezone.override(zone):
            return self.get_response(request)
