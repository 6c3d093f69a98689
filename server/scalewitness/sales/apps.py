from django.apps import AppConfig


class SalesConfig(AppConfig):
    name = "scalewitness.sales"
