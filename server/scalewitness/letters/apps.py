from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "scalewitness.letters"

    def ready(self) -> None:
        from scalewitness.letters.since import changed_since  # noqa: PLC0415  tables come first
        from scalewitness.letters.zones import zone_of_reader  # noqa: PLC0415
        from scalewitness.mail.services.composing import tell_since, tell_zone  # noqa: PLC0415

        tell_since(changed_since)
        tell_zone(zone_of_reader)
