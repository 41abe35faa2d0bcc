from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "fixtures_demo"
    verbose_name = "The Saltmarsh Infrared Circle's demo world"
