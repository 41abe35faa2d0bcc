"""The catalogue as stewards tend it."""

from django.contrib import admin

from registry.gear.models import (
    Adapter,
    Body,
    FactSource,
    Filter,
    Lens,
    LensAlias,
    Maker,
    Mount,
    Teleconverter,
)
from registry.ledger.admin import AppendOnlyAdmin


class NamedAdmin(admin.ModelAdmin):
    """Addresses once given never change: they are set when a row is added and shown afterwards."""

    search_fields = ["name"]
    prepopulated_fields = {"slug": ["name"]}

    def get_readonly_fields(self, request, obj=None):
        return ["slug"] if obj else []

    def get_prepopulated_fields(self, request, obj=None):
        return {} if obj else self.prepopulated_fields


class GearAdmin(NamedAdmin):
    list_display = ["name", "maker", "status"]
    list_filter = ["status", "maker"]
    list_select_related = ["maker"]
    search_fields = ["name", "maker__name"]
    exclude = ["version", "proposed_by"]

    def save_model(self, request, obj, form, change):
        if change and form.changed_data:
            obj.version += 1
        super().save_model(request, obj, form, change)


class LensAliasInline(admin.TabularInline):
    model = LensAlias
    extra = 1


@admin.register(Lens)
class LensAdmin(GearAdmin):
    inlines = [LensAliasInline]
    filter_horizontal = ["mounts"]
    list_display = ["name", "maker", "optical_revision", "filter_thread_mm", "status"]


@admin.register(FactSource)
class FactSourceAdmin(AppendOnlyAdmin):
    """Read only: a new source is added by those who complete a fact, and none is ever changed."""

    list_display = ["gear_slug", "fact", "value", "source", "added_at"]
    list_filter = ["gear_kind", "fact"]
    search_fields = ["gear_slug", "source"]


admin.site.register([Maker, Mount], NamedAdmin)
admin.site.register([Body, Filter, Teleconverter, Adapter], GearAdmin)
