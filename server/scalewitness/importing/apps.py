from django.apps import AppConfig


class ImportingConfig(AppConfig):
    name = "scalewitness.importing"
