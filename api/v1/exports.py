"""Live exports: any table of the open data, streamed as it stands now."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from django.http import FileResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Resource
from registry.errors import NotFound, Problem
from registry.publishing.models import Release
from registry.publishing.rows import rows_of
from registry.publishing.tables import TABLES, Table
from registry.publishing.writing import as_csv, as_ndjson, write_parquet

FORMS = {
    "csv": "text/csv; charset=utf-8",
    "ndjson": "application/x-ndjson",
    "parquet": "application/vnd.apache.parquet",
}


class FieldSerializer(serializers.Serializer):
    name = serializers.CharField()
    type = serializers.CharField(help_text="As the Table Schema specification names it.")
    says = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)


class TableSerializer(serializers.Serializer):
    """A table that can be exported, field by field."""

    name = serializers.CharField()
    says = serializers.CharField()
    key = serializers.ListField(child=serializers.CharField(), help_text="Fields that are unique together.")
    other_licence = serializers.BooleanField(
        help_text="Whether its rows are under the licence that they name."
    )
    fields_ = FieldSerializer(many=True, source="fields")
    exports = serializers.SerializerMethodField(help_text="Address of each form: csv, ndjson, parquet.")

    def get_fields(self):
        fields = super().get_fields()
        fields["fields"] = fields.pop("fields_")
        fields["fields"].source = None
        return fields

    def get_exports(self, table: Table) -> dict[str, str]:
        return {form: f"/api/v1/exports/{table.name}.{form}" for form in FORMS}


class AsTheAddressSays(BaseContentNegotiation):
    """The form stands in the address, so whatever a client says it accepts, it gets that."""

    def select_parser(self, request, parsers):
        return parsers[0]

    def select_renderer(self, request, renderers, format_suffix=None):
        return renderers[0], renderers[0].media_type


class Exports(Resource):
    """Tables of the open data as they stand now."""

    queryset = Release.objects.none()  # the document asks every resource for one; tables of text have none
    serializer_class = TableSerializer
    pagination_class = None
    content_negotiation_class = AsTheAddressSays
    what = "export"

    @extend_schema(responses=TableSerializer(many=True))
    def tables(self, request: Request) -> Response:
        """The tables that can be exported, each field with its meaning and unit."""
        return tagged(request, TableSerializer(TABLES.values(), many=True).data)

    @extend_schema(
        operation_id="exports_read",
        parameters=[
            OpenApiParameter("table", str, OpenApiParameter.PATH, enum=list(TABLES)),
            OpenApiParameter("form", str, OpenApiParameter.PATH, enum=list(FORMS)),
        ],
        responses={(200, media.partition(";")[0]): OpenApiTypes.BINARY for media in FORMS.values()},
        examples=[
            OpenApiExample(
                "Mounts as CSV", value="slug,name,flange_distance_mm\nteal,Teal,18.0\n", media_type="text/csv"
            )
        ],
    )
    def export(self, request: Request, table: str, form: str) -> HttpResponseBase:
        """Stream one table as CSV, NDJSON or Parquet. A release holds the same tables, frozen."""
        wanted = _known(table, form)
        response = _parquet(wanted) if form == "parquet" else _text(wanted, form)
        response["Content-Disposition"] = f'attachment; filename="cleanstop-{table}-{date.today()}.{form}"'
        response["X-Content-Type-Options"] = "nosniff"
        response["Cache-Control"] = "no-store"
        return response


def _known(table: str, form: str) -> Table:
    if table not in TABLES or form not in FORMS:
        field, value, known = ("form", form, FORMS) if table in TABLES else ("table", table, TABLES)
        raise NotFound(
            Problem(
                code=f"unknown-export-{field}",
                field=field,
                value=value,
                says=f"There is no export {field} “{value[:60]}”.",
                remedy=f"Known are {', '.join(known)}.",
            )
        )
    return TABLES[table]


def _text(table: Table, form: str) -> StreamingHttpResponse:
    write = {"csv": as_csv, "ndjson": as_ndjson}[form]
    return StreamingHttpResponse(_from_the_first(write(table, rows_of(table))), content_type=FORMS[form])


def _from_the_first(chunks: Iterator[bytes]) -> Iterator[bytes]:
    """A fault at the very beginning becomes an error page rather than a torn answer."""
    first = next(chunks, b"")

    def every() -> Iterator[bytes]:
        yield first
        yield from chunks

    return every()


def _parquet(table: Table) -> FileResponse:
    """Its index stands at a Parquet file's end, so it is written whole on disk first; the file goes as it is sent."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{table.name}.parquet"
        write_parquet(table, rows_of(table), path)
        return FileResponse(path.open("rb"), content_type=FORMS["parquet"])
