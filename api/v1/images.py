"""Frames: uploaded ahead of their report or into it, and what was measured in them."""

from __future__ import annotations

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery
from api.strict import StrictSerializer, WordField
from api.v1.report_inputs import ImageReference
from api.v1.report_shapes import ImageSerializer, ImageWithProfileSerializer
from registry.errors import InvalidInput, Problem
from registry.reports.models import ImagePurpose, ImageState, SampleImage
from registry.reports.queries import image_for, images_of_account, known_images
from registry.reports.services import correct_image, keep_image, remove_image

NO_SHA256 = "This is no SHA-256: 64 hexadecimal digits."


class FrameInput(serializers.Serializer):
    """The multipart form of one frame."""

    frame = serializers.FileField(help_text="JPEG, PNG, TIFF, HEIC or raw, as the camera wrote it.")
    purpose = serializers.ChoiceField(choices=ImagePurpose.choices, default=ImagePurpose.TARGET)

    @staticmethod
    def taken_from(request: Request) -> tuple[UploadedFile, str]:
        """The file and its purpose. Raises InvalidInput unless the form has exactly these."""
        files = request.FILES.getlist("frame")
        unknown = sorted(name for name in request.data if name not in ("frame", "purpose"))
        if len(files) != 1 or unknown:
            raise InvalidInput(
                Problem(
                    code="unknown-part" if unknown else "one-frame-expected",
                    field=unknown[0] if unknown else "frame",
                    says=f"The form has a part “{unknown[0]}”."
                    if unknown
                    else f"The form has {len(files)} files in the part “frame”, not one.",
                    remedy="Send one file as the part “frame”, and if you like its “purpose”.",
                )
            )
        return files[0], request.data.get("purpose", ImagePurpose.TARGET)


class ImageChanges(ImageReference):
    image = None
    f_number = serializers.FloatField(required=False, allow_null=True)
    focal_length_mm = serializers.FloatField(required=False, allow_null=True)
    grade = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=4)


class KnownQuestion(StrictSerializer):
    """Which of these files are here already?"""

    content_hashes = serializers.ListField(
        child=serializers.RegexField(r"^[0-9a-fA-F]{64}$", error_messages={"invalid": NO_SHA256}),
        min_length=1,
        max_length=1000,
        help_text="SHA-256 of each file's bytes, in hexadecimal.",
    )
    report = serializers.CharField(
        required=False, max_length=10, help_text="Id of your report, to ask about its frames only."
    )


class KnownAnswer(serializers.Serializer):
    """Your pictures among the files, and the hashes of those that are still to be sent."""

    known = ImageSerializer(many=True)
    missing = serializers.ListField(child=serializers.CharField())


class ImageQuery(ListQuery):
    report = serializers.CharField(required=False, max_length=10, help_text="Id of your report, or “none”.")
    state = WordField(choices=ImageState.choices, required=False)


class Images(Catalogue):
    """Pictures and their measurements. Lists hold your own; one of a public report is anyone's to read."""

    queryset = SampleImage.objects.none()
    serializer_class = ImageSerializer
    queries = {"list": ImageQuery}
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,20}"
    what = "picture"
    scopes = {"known": "read"}
    forms = ("create",)
    orders = {"newest": ("-id",), "oldest": ("id",)}

    @property
    def signed_in(self) -> bool:
        return self.action in ("list", "known")

    def list(self, request: Request) -> Response:
        """Your own pictures, newest first."""
        rows = images_of_account(request.user).prefetch_related("measurements")
        if report := self.asked.get("report"):
            rows = rows.filter(report=None) if report == "none" else rows.filter(report__public_id=report)
        return self.paged(rows.filter(state=self.asked["state"]) if "state" in self.asked else rows)

    @extend_schema(responses=ImageWithProfileSerializer)
    def retrieve(self, request: Request, public_id: str) -> Response:
        """One picture: its state, and what was measured in it with its radial profile."""
        return tagged(request, self._shown(image_for(public_id, request.user)))

    @extend_schema(request={"multipart/form-data": FrameInput}, responses={201: ImageSerializer})
    def create(self, request: Request) -> Response:
        """Upload a frame ahead of its report, which then names it by its id."""
        return answer_once(request, lambda: self._keep(request))

    @extend_schema(request=ImageChanges, responses=ImageWithProfileSerializer)
    def partial_update(self, request: Request, public_id: str) -> Response:
        """Correct what EXIF said, or grade the frame by eye; null clears a field."""
        with transaction.atomic():
            image = self._held(request, public_id)
            correct_image(image=image, by=request.user, **_said(request.data))
            return tagged(request, self._shown(image))

    def destroy(self, request: Request, public_id: str) -> Response:
        """Delete a picture of your draft, or one that belongs to no report."""
        with transaction.atomic():
            remove_image(image=self._held(request, public_id), by=request.user)
        return Response(status=204)

    @extend_schema(request=KnownQuestion, responses=KnownAnswer)
    @action(detail=False, methods=["post"])
    def known(self, request: Request) -> Response:
        """Ask which files are here already, so that an upload that broke off sends only the rest."""
        asked = KnownQuestion(data=request.data)
        asked.is_valid(raise_exception=True)
        hashes = [content_hash.lower() for content_hash in asked.validated_data["content_hashes"]]
        found = known_images(request.user, hashes, asked.validated_data.get("report", ""))
        images = list(found.prefetch_related("measurements"))
        here = {image.content_hash for image in images}
        missing = [content_hash for content_hash in dict.fromkeys(hashes) if content_hash not in here]
        return Response({"known": self.get_serializer(images, many=True).data, "missing": missing})

    def _keep(self, request: Request) -> Response:
        file, purpose = FrameInput.taken_from(request)
        image = keep_image(by=request.user, file=file, purpose=purpose)
        location = request.build_absolute_uri(f"{request.path}{image.public_id}/")
        return Response(self.get_serializer(image).data, status=201, headers={"Location": location})

    def _held(self, request: Request, public_id: str) -> SampleImage:
        image = image_for(public_id, request.user)
        SampleImage.objects.select_for_update(no_key=True).get(pk=image.pk)
        require_match(request, self._shown(image))
        return image

    def _shown(self, image: SampleImage) -> dict:
        fresh = SampleImage.objects.select_related("report").get(pk=image.pk)
        return ImageWithProfileSerializer(fresh, context={"request": self.request}).data


def _said(sent: object) -> dict:
    """What is said of a picture; which fields there are, and their rules, is the service's matter."""
    if isinstance(sent, dict) and not {"image", "by", "expected_version"} & set(sent):
        return dict(sent.items())
    raise InvalidInput(
        Problem(
            code="unknown-field",
            says="A picture's corrections are an object with f_number, focal_length_mm, grade or purpose.",
            remedy="Send only those.",
        )
    )


def sent_files(request: Request, part: str) -> dict[str, UploadedFile]:
    """The files of one part by name; a name that comes twice gets a number."""
    named: dict[str, UploadedFile] = {}
    for file in request.FILES.getlist(part):
        name, count = file.name, 1
        while name in named:
            count += 1
            name = f"{file.name} ({count})"
        named[name] = file
    return named
