from django.apps import AppConfig


class PicksConfig(AppConfig):
    name = "registry.picks"
