"""What someone asks of a picture to publish; all of it stands in the picture's address."""

from __future__ import annotations

from django import forms

from registry.consensus.cells import UNSTATED
from registry.errors import InvalidInput, Problem
from registry.pages.camera import Camera
from registry.pages.forms.look_up import CameraForm

SMALLEST, USUAL, LARGEST = 320, 1400, 2400
THEMES = (("light", "light"), ("dark", "dark"))


class PictureForm(CameraForm):
    """theme and width of a picture, and what it shows. It never depends on who asks."""

    theme = forms.ChoiceField(choices=THEMES, required=False)
    width = forms.IntegerField(min_value=SMALLEST, max_value=LARGEST, required=False)
    zone = forms.RegexField(rf"^([\d.]+-[\d.]+|{UNSTATED})$", max_length=20, required=False)
    plain = forms.BooleanField(required=False)
    release = forms.RegexField(r"^[\w.]{1,20}$", required=False)

    def options(self) -> dict:
        """theme, width in pixels, zone, plain. Raises InvalidInput that names each option that can't be."""
        if not self.is_valid():
            raise InvalidInput(
                Problem(
                    code="picture-option",
                    field=name,
                    value=self.data.get(name),
                    says=f"“{self.data.get(name)}” can’t be the picture’s {name}: {' '.join(errors)}",
                    remedy=f"Themes are light and dark, widths {SMALLEST} to {LARGEST} pixels; leave it out if unsure.",
                )
                for name, errors in self.errors.items()
            )
        typed = self.cleaned_data
        return {
            "theme": typed["theme"] or "light",
            "width": typed["width"] or USUAL,
            "zone": typed["zone"],
            "plain": typed["plain"],
            "release": typed["release"],
        }

    def camera(self) -> Camera:
        """What the picture is drawn for; whatever the address leaves out is the usual."""
        asked = self.asked()
        usual = Camera()
        return Camera(
            cut_on_nm=asked["cut_on_nm"] or usual.cut_on_nm,
            visible_ev=asked["visible_ev"] or usual.visible_ev,
        )
