"""Which room answers which address."""

from django.contrib import admin
from django.urls import include, path, re_path

from api.reference import NoSuchAddress

urlpatterns = [
    path("accounts/", include("allauth.urls")),
    path("api/v1/", include(("api.urls", "v1"))),
    re_path(r"^api/", NoSuchAddress.as_view()),
    path("steward/", admin.site.urls),
    path("", include("registry.pages.urls")),
]

handler400 = "registry.pages.views.errors.bad_request"
handler403 = "registry.pages.views.errors.not_allowed"
handler404 = "registry.pages.views.errors.not_found"
handler500 = "registry.pages.views.errors.broken"
