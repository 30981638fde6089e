"""The staff's door: one module of addresses per desk."""

from django.urls import include, path

urlpatterns = [
    path("", include("custody.staff.desk_urls")),
    path("counter/", include("custody.staff.counter_urls")),
    path("clearance/", include("custody.staff.clearance_urls")),
    path("laboratory/exchanges/", include("custody.staff.exchange_urls")),
    path("laboratory/", include("custody.staff.laboratory_urls")),
    path("sampling/", include("custody.staff.sampling_urls")),
    path("plant/bars/", include("custody.staff.bars_urls")),
    path("plant/", include("custody.staff.plant_urls")),
    path("vault/", include("custody.staff.vault_urls")),
    path("settlement/", include("custody.staff.settlement_urls")),
    path("balance/", include("custody.staff.balance_urls")),
    path("trace/", include("custody.staff.trace_urls")),
    path("scales/", include("custody.staff.scales_urls")),
    path("people/", include("custody.staff.people_urls")),
]
