"""A photo, drawn anew before anything of it is kept."""

from hashlib import sha256
from typing import Any
from uuid import UUID

from django import forms
from django.core.files.uploadedfile import UploadedFile

from scalewitness.domain.pictures.plain import NotPlain
from scalewitness.domain.pictures.redrawing import redrawn
from scalewitness.pages.forms.facts import FactForm

LARGEST_UPLOAD = 25_000_000
"""Bytes; more than cameras of our time write into a JPEG (our judgement)."""


class PhotoForm(FactForm):
    kind = "photo_attached"

    picture = forms.FileField(
        label="Photo",
        help_text="JPEG, PNG or WebP. It is drawn anew, so that where and with what it was "
        "taken is not kept.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, of: UUID | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._of = of

    def clean_picture(self) -> bytes:
        """The file to keep."""
        sent: UploadedFile[Any] = self.cleaned_data["picture"]
        if (sent.size or 0) > LARGEST_UPLOAD:
            raise forms.ValidationError("This file is too large.")
        try:
            return redrawn(sent.read())
        except NotPlain as fault:
            raise forms.ValidationError(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None

    def body(self) -> dict[str, Any]:
        drawn: bytes = self.cleaned_data["picture"]
        file = {"sha256": sha256(drawn).hexdigest(), "size": len(drawn)}
        return file | ({"of": str(self._of)} if self._of else {})
