"""People as stewards see them: roles are changed through the service, so that the event log knows."""

from django.contrib import admin, messages

from registry.accounts.models import Account, Role
from registry.accounts.services import change_role
from registry.errors import CleanstopError


@admin.register(Account)
class AccountAdmin(admin.ModelAdmin):
    list_display = ["name", "email", "role", "is_active", "joined_at"]
    list_filter = ["role", "is_active"]
    search_fields = ["name", "email", "public_id"]
    fields = ["public_id", "name", "email", "role", "is_active", "joined_at", "last_login"]
    readonly_fields = ["public_id", "email", "role", "joined_at", "last_login"]
    actions = ["make_contributor", "make_moderator", "make_steward"]

    def has_add_permission(self, request):
        return False

    def has_delete_permission(self, request, obj=None):
        return False

    @admin.action(description="Make contributors of the selected people")
    def make_contributor(self, request, chosen):
        self._change(request, chosen, Role.CONTRIBUTOR)

    @admin.action(description="Make moderators of the selected people")
    def make_moderator(self, request, chosen):
        self._change(request, chosen, Role.MODERATOR)

    @admin.action(description="Make stewards of the selected people")
    def make_steward(self, request, chosen):
        self._change(request, chosen, Role.STEWARD)

    def _change(self, request, chosen, role):
        for account in chosen:
            try:
                change_role(account=account, role=role, by=request.user)
            except CleanstopError as refusal:
                self.message_user(request, str(refusal), messages.ERROR)
            else:
                self.message_user(request, f"{account} is a {role} now.")
