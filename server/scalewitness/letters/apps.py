from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "scalewitness.letters"
