"""The API's own description: an OpenAPI 3.1 document, and a page to read it with."""

from __future__ import annotations

import hashlib
from functools import cache

from csp.decorators import csp_update
from django.http import HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.generic import TemplateView
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer2
from drf_spectacular.views import SpectacularAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.conditional import holds
from registry.errors import NotFound, Problem

METHODS = ["get", "post", "put", "patch", "delete", "head", "options"]


class Document(SpectacularAPIView):
    """The OpenAPI document."""

    schema = None  # the description does not describe itself
    renderer_classes = [OpenApiJsonRenderer2]

    def get(self, request: Request, *args, **kwargs) -> HttpResponse:
        content, tag = written(request.version)
        headers = {"ETag": tag, "Cache-Control": "no-cache"}
        if holds(request.headers.get("If-None-Match"), tag):
            return HttpResponse(status=304, headers=headers)
        return HttpResponse(content, content_type=OpenApiJsonRenderer2.media_type, headers=headers)


@cache
def written(version: str) -> tuple[bytes, str]:
    """The document and its entity tag. It says the same to everyone, and takes a second or more to make."""
    described = SchemaGenerator(api_version=version).get_schema(request=None, public=True)
    content = OpenApiJsonRenderer2().render(described)
    return content, f'"{hashlib.sha256(content).hexdigest()[:32]}"'


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
