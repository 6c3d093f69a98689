from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "scalewitness.letters"

    def ready(self) -> None:
        from scalewitness.letters.since import changed_since  # noqa: PLC0415  tables come first
        from scalewitness.mail.services.composing import tell_since  # noqa: PLC0415

        tell_since(changed_since)
