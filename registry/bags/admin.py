"""Bags for stewards to look at. They are their owners' affair, so nothing can be changed here."""

from django.contrib import admin

from registry.bags.models import BagLens, KeptBag


class BagLensInline(admin.TabularInline):
    model = BagLens
    extra = 0
    can_delete = False

    def has_add_permission(self, request, obj=None) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False


@admin.register(KeptBag)
class KeptBagAdmin(admin.ModelAdmin):
    list_display = ["owner", "updated_at"]
    search_fields = ["owner__name"]
    inlines = [BagLensInline]

    def has_add_permission(self, request) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False
