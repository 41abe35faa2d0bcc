"""Stewards read the event log; nobody edits it."""

from django.contrib import admin

from registry.ledger.models import Event


class AppendOnlyAdmin(admin.ModelAdmin):
    """For looking only: rows come from services, and none is ever changed."""

    def has_add_permission(self, request):
        return False

    def has_change_permission(self, request, obj=None):
        return False

    def has_delete_permission(self, request, obj=None):
        return False


@admin.register(Event)
class EventAdmin(AppendOnlyAdmin):
    list_display = ["sequence", "at", "name", "subject_kind", "subject_id", "actor"]
    list_filter = ["name", "subject_kind"]
    search_fields = ["subject_id", "actor"]
    ordering = ["-sequence"]
