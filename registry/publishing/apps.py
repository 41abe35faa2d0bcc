from django.apps import AppConfig


class PublishingConfig(AppConfig):
    name = "registry.publishing"
    label = "publishing"
    verbose_name = "open data"
