from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "scalewitness.letters"

    def ready(self) -> None:
        from scalewitness.letters.habits import habits_of_reader  # noqa: PLC0415  tables come first
        from scalewitness.letters.since import changed_since, losses_of  # noqa: PLC0415
        from scalewitness.mail.services import composing  # noqa: PLC0415

        composing.tell_since(changed_since)
        composing.tell_habits(habits_of_reader)
        composing.tell_losses(losses_of)
