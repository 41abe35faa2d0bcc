"""Reports for stewards: to look at, never to edit, since every change goes through a service and its record."""

from __future__ import annotations

from django.contrib import admin

from registry.reports.models import Copy, Measurement, Report, ReportRevision, Rig, SampleImage


class LookOnly(admin.ModelAdmin):
    """Shows rows; adds, changes and deletes none."""

    list_per_page = 50

    def has_add_permission(self, request) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


@admin.register(Report)
class ReportAdmin(LookOnly):
    list_display = ("public_id", "lens", "author", "basis", "state", "revision", "submitted_at")
    list_filter = ("state", "basis", "light_group")
    search_fields = ("public_id", "lens__name", "author__name", "tester_name", "citation_title")
    list_select_related = ("lens__maker", "author")


@admin.register(ReportRevision)
class ReportRevisionAdmin(LookOnly):
    list_display = ("report", "number", "by", "at", "reason")
    list_select_related = ("report__lens__maker", "by")


@admin.register(SampleImage)
class SampleImageAdmin(LookOnly):
    list_display = ("public_id", "report", "owner", "purpose", "state", "kind", "created_at")
    list_filter = ("state", "purpose", "kind")
    search_fields = ("public_id", "report__public_id", "content_hash")
    list_select_related = ("report__lens__maker", "owner")


@admin.register(Measurement)
class MeasurementAdmin(LookOnly):
    list_display = ("image", "method_version", "from_sweep", "status", "measured_at")
    list_filter = ("method_version", "from_sweep", "status")
    list_select_related = ("image",)


@admin.register(Rig)
class RigAdmin(LookOnly):
    list_display = ("public_id", "owner", "body", "conversion", "cut_on_nm")
    list_filter = ("conversion",)
    list_select_related = ("owner", "body__maker")


@admin.register(Copy)
class CopyAdmin(LookOnly):
    list_display = ("public_id", "lens", "holder", "label", "same_as")
    search_fields = ("public_id", "lens__name", "holder__name")
    list_select_related = ("lens__maker", "holder", "same_as")
