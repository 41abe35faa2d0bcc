"""Stewards read the event log; nobody edits it."""

from django.contrib import admin

from registry.ledger.models import Event


@admin.register(Event)
class EventAdmin(admin.ModelAdmin):
    list_display = ["sequence", "at", "name", "subject_kind", "subject_id", "actor"]
    list_filter = ["name", "subject_kind"]
    search_fields = ["subject_id", "actor"]
    ordering = ["-sequence"]

    def has_add_permission(self, request):
        return False

    def has_change_permission(self, request, obj=None):
        return False

    def has_delete_permission(self, request, obj=None):
        return False
