from django.apps import AppConfig


class SeasonsConfig(AppConfig):
    name = "scalewitness.seasons"
