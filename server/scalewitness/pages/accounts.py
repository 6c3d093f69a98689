"""Accounts as the sign-up page needs them: a keeper has a name beside the address."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django import forms
from django.http import HttpRequest

from scalewitness.people.models import Keeper


class NameForm(forms.Form):
    """Added to the sign-up form. Other keepers see this name beside your calls."""

    name = forms.CharField(max_length=80, label="Your name, as other keepers will see it")

    def signup(self, request: HttpRequest, user: Keeper) -> None:
        user.name = self.cleaned_data["name"]
        user.save()


class KeeperAccounts(DefaultAccountAdapter):
    """Leaves user names out; the address is the way in."""

    def populate_username(self, request: HttpRequest, user: Any) -> None:
        return None
