from django.apps import AppConfig


class TraitsConfig(AppConfig):
    name = "scalewitness.traits"
