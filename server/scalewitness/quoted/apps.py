from django.apps import AppConfig


class QuotedConfig(AppConfig):
    name = "scalewitness.quoted"
