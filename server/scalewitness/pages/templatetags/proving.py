"""What a line of a page shows, beside it, for the reader's own browser to hold to the log."""

from django import template
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString

from scalewitness.animals.models import Photo
from scalewitness.pages.animals.evidence import CallInWords
from scalewitness.pages.parts.proving import as_json, call_shown, photo_shown

register = template.Library()


@register.simple_tag(takes_context=True)
def shows(context: Context, line: CallInWords | Photo) -> SafeString:
    """An attribute; nothing on pages that prove nothing."""
    proof = context.get("proof")
    if not proof:
        return SafeString("")
    shown = photo_shown(line) if isinstance(line, Photo) else call_shown(line, codes=proof.codes)
    return format_html(' data-shown="{}"', as_json([shown]))
