"""The API's own description: an OpenAPI 3.1 document, and a page to read it with."""

from __future__ import annotations

from csp.decorators import csp_update
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.generic import TemplateView
from drf_spectacular.renderers import OpenApiJsonRenderer2
from drf_spectacular.views import SpectacularAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.errors import NotFound, Problem

METHODS = ["get", "post", "put", "patch", "delete", "head", "options"]


class Document(SpectacularAPIView):
    """The OpenAPI document."""

    renderer_classes = [OpenApiJsonRenderer2]


# The reading page sets styles of its own from its script, which only this one page may.
@method_decorator(csp_update({"style-src": ["'unsafe-inline'"]}), name="dispatch")
class Reference(TemplateView):
    """A page that lists every operation and lets one try it; its parts come from this server."""

    template_name = "api/reference.html"

    def get_context_data(self, **context):
        return super().get_context_data(document=reverse("v1:openapi"), **context)


class NoSuchAddress(APIView):
    """Every other address under the API: a problem document rather than a page."""

    schema = None
    throttle_classes = []
    http_method_names = METHODS

    def initial(self, request: Request, *args, **kwargs) -> None:
        raise NotFound(
            Problem(
                code="no-such-address",
                value=request.path,
                says=f"The API has no address {request.path}.",
                remedy=f"Addresses end with a slash and are listed at {reverse('v1:reference')}.",
            )
        )

    def get(self, request: Request) -> Response:
        raise AssertionError("initial() has refused every request")
