"""What a scale sent by itself, for the page's script (static/custody/scale.js)."""

from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.calc.mass import plain_fine_grams, plain_grams
from custody.queries import scales as queries
from custody.roles import Verb
from custody.web.access import needs
from custody.web.asked import id_asked


@require_GET
@needs(Verb.WEIGH)
def reading(request: HttpRequest) -> JsonResponse:
    """The newest reading of a scale at rest that no weighing used, sent later than ``after``; figures as text.

    ``last`` is what to ask after next; without ``after`` the answer says only that, so that nothing old is picked up.
    """
    code, after = (request.GET.get(name, "") for name in ("scale", "after"))
    known = id_asked(after)
    if known is None:
        return JsonResponse({"last": queries.last_reading_id(code)})
    sent = queries.newest_reading(code, known)
    if sent is None:
        return JsonResponse({"last": known})
    return JsonResponse(
        {
            "last": sent.id,
            "id": sent.id,
            "grams": plain_grams(sent.mass_mg),
            "exact": plain_fine_grams(sent.value_ug),
            "at": timezone.localtime(sent.received_at).strftime("%H:%M:%S"),
        }
    )
