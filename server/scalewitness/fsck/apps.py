from django.apps import AppConfig


class FsckConfig(AppConfig):
    name = "scalewitness.fsck"
