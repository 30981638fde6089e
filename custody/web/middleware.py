"""Before every page: no request that is too large, no address that is none, and the refinery's local time."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
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


class AddressMiddleware:
    """Answers an address with a null character in it: nothing has such a number, and PostgreSQL would not even look."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # What a program asks is read, and refused by name, by the API's own door.
        asked = "" if request.path_info.startswith("/api/") else request.META.get("QUERY_STRING", "")
        if "\0" in request.path_info or "%00" in asked:
            raise Http404
        return self.get_response(request)


class RequestSizeMiddleware:
    """Refuses a request larger than the house takes, before anything of it is kept."""

    #: A little more than the limit is read and thrown away: a browser shows the answer once all was sent.
    DRAINED = 4
    CHUNK = 1024 * 1024

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        size = request.META.get("CONTENT_LENGTH") or "0"
        length = int(size) if size.isascii() and size.isdigit() else 0
        if length <= settings.LARGEST_REQUEST:
            return self.get_response(request)
        if length <= settings.LARGEST_REQUEST * self.DRAINED:
            while request.read(self.CHUNK):
                pass
        most = settings.LARGEST_REQUEST // 1024**2
        return render(request, "too_large.html", {"sentence": f"One sending holds at most {most} MB."}, status=413)
