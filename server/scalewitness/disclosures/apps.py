from django.apps import AppConfig


class DisclosuresConfig(AppConfig):
    name = "scalewitness.disclosures"
