from django.apps import AppConfig


class WatchingConfig(AppConfig):
    name = "registry.watching"
