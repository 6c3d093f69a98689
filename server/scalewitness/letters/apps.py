from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "scalewitness.letters"

    def ready(self) -> None:
        from scalewitness.letters.habits import habits_of_reader  # noqa: PLC0415  tables come first
        from scalewitness.letters.since import changed_since  # noqa: PLC0415
        from scalewitness.mail.services.composing import tell_habits, tell_since  # noqa: PLC0415

        tell_since(changed_since)
        tell_habits(habits_of_reader)
