"""Which room answers which address."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("accounts/", include("allauth.urls")),
    path("api/v1/", include(("api.urls", "v1"))),
    path("steward/", admin.site.urls),
    path("", include("registry.pages.urls")),
]
