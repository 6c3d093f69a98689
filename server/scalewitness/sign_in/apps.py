from django.apps import AppConfig


class SignInConfig(AppConfig):
    name = "scalewitness.sign_in"
