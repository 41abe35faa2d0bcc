from django.apps import AppConfig


class BagsConfig(AppConfig):
    name = "registry.bags"
