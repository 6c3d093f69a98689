"""A photo, re-encoded before anything of it is kept."""

from hashlib import sha256
from typing import Any
from uuid import UUID

from django import forms
from django.core.files.uploadedfile import UploadedFile

from scalewitness.domain.errors import Busy
from scalewitness.domain.pictures.plain import NotPlain
from scalewitness.domain.pictures.reencoding import LARGEST_UPLOAD, reencoded
from scalewitness.intake.heavy_work import DECODING
from scalewitness.pages.parts.facts import FactForm

TOO_LARGE = (
    f"A picture may have at most {LARGEST_UPLOAD // 1_000_000} MB: save a smaller copy, and choose "
    "that."
)
BUSY = (
    "Several pictures are being processed. Nothing was recorded: choose the file again, and send "
    "it in a moment."
)


class PhotoForm(FactForm):
    kind = "photo_attached"

    picture = forms.FileField(
        label="Photo",
        help_text=(
            "JPEG of at most 60 million pixels, PNG of 12 or WebP of 6. It is re-encoded, so "
            "that its location and camera data are not kept."
        ),
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def __init__(self, *args: Any, of: UUID | None, by: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._of, self._by = of, by

    def clean_picture(self) -> bytes:
        """The file to keep."""
        sent: UploadedFile[Any] = self.cleaned_data["picture"]
        if (sent.size or 0) > LARGEST_UPLOAD:
            raise forms.ValidationError(TOO_LARGE)
        try:
            with DECODING.turn(self._by):
                return reencoded(sent.read())
        except NotPlain as fault:
            raise forms.ValidationError(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
        except Busy as busy:
            self.problem = busy.as_problem()
            raise forms.ValidationError(BUSY) from None

    def body(self) -> dict[str, Any]:
        picture: bytes = self.cleaned_data["picture"]
        file = {"sha256": sha256(picture).hexdigest(), "size": len(picture)}
        return file | ({"of": str(self._of)} if self._of else {})
