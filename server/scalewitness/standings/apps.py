from django.apps import AppConfig


class StandingsConfig(AppConfig):
    name = "scalewitness.standings"
