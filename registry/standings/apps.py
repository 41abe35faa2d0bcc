from django.apps import AppConfig


class StandingsConfig(AppConfig):
    name = "registry.standings"
