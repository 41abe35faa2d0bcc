"""Shapes of what the registry says of a lens, shared by the resources that say it."""

from __future__ import annotations

from rest_framework import serializers

from registry.standings.queries import conditions_of


class StopSerializer(serializers.Serializer):
    """One step of the aperture ladder: the chance of a clean frame there, with its 90 % interval."""

    f_number = serializers.FloatField(help_text="As marked on the lens.")
    p_clean = serializers.FloatField(allow_null=True, help_text="Null where no chance is claimed.")
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    tested = serializers.BooleanField()
    on_ladder = serializers.BooleanField(
        help_text="False for a stop between the full ones that somebody tested."
    )


class LimitSerializer(serializers.Serializer):
    """The clean limit as an aperture value, Av = 2 log2 N: median and 90 % interval."""

    low = serializers.FloatField()
    median = serializers.FloatField()
    high = serializers.FloatField()
    open_low = serializers.BooleanField(help_text="That end lies beyond what was tested.")
    open_high = serializers.BooleanField(help_text="That end lies beyond what was tested.")


class CauseSerializer(serializers.Serializer):
    """Something that may split the reports; effect_stops is how much later group_a's limit comes."""

    factor = serializers.CharField()
    posterior = serializers.FloatField()
    odds = serializers.FloatField()
    effect_stops = serializers.FloatField()
    group_a = serializers.CharField()
    group_b = serializers.CharField()


class SuspectSerializer(serializers.Serializer):
    """Reports that the others make improbable (two-sided predictive probability p)."""

    reports = serializers.ListField(child=serializers.CharField())
    p = serializers.FloatField()


class FindingSummarySerializer(serializers.Serializer):
    """Another infrared trait: median of the testers' grades 0–4, how many testers, and their quartiles."""

    kind = serializers.CharField()
    label = serializers.CharField()
    median = serializers.FloatField()
    count = serializers.IntegerField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class ShareCleanSerializer(serializers.Serializer):
    """Independent testers who call a stop clean, of those who tested it, with the 95 % Wilson interval."""

    f_number = serializers.FloatField()
    clean = serializers.IntegerField()
    n = serializers.IntegerField()
    share = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class PooledEffectSerializer(serializers.Serializer):
    """Random-effects mean (EV), its standard error and 95 % Hartung–Knapp interval, τ², Q and I² (a fraction)."""

    mean = serializers.FloatField()
    se = serializers.FloatField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    tau2 = serializers.FloatField()
    q = serializers.FloatField()
    i2 = serializers.FloatField()
    n = serializers.IntegerField()


class StopExcessSerializer(serializers.Serializer):
    """Measured excess at one stop, pooled over testers by two estimators, and made never to fall with N."""

    f_number = serializers.FloatField()
    dersimonian_laird = PooledEffectSerializer()
    paule_mandel = PooledEffectSerializer()
    isotonic_ev = serializers.FloatField()


class AgreementSerializer(serializers.Serializer):
    """Descriptive figures beside the model; no verdict rests on them."""

    shares = ShareCleanSerializer(many=True, default=[])
    excess = StopExcessSerializer(many=True, default=[])


class ZoneSerializer(serializers.Serializer):
    """One focal zone; an untested one has the ladder's steps without chances."""

    focal_zone = serializers.CharField(source="zone")
    label = serializers.CharField()
    tested = serializers.BooleanField()
    verdict = serializers.CharField()
    words = serializers.CharField()
    f_number = serializers.FloatField(allow_null=True)
    confidence = serializers.CharField(allow_blank=True)
    n_reports = serializers.IntegerField()
    n_independent = serializers.IntegerField()
    stops = StopSerializer(many=True)
    limit = serializers.SerializerMethodField()
    causes = CauseSerializer(many=True)
    suspects = SuspectSerializer(many=True)
    tinted_from = serializers.FloatField(allow_null=True)
    agreement = AgreementSerializer()

    def get_limit(self, zone) -> LimitSerializer(allow_null=True):
        return LimitSerializer(zone.limit).data if zone.limit else None


class SideStopSerializer(serializers.Serializer):
    """Chance of a clean frame at one tested stop, under one condition."""

    f_number = serializers.FloatField(help_text="As marked on the lens.")
    p_clean = serializers.FloatField()


class ConditionSerializer(serializers.Serializer):
    """What holds on one side of what likely splits the reports."""

    factor = serializers.CharField(help_text="As in causes.")
    side = serializers.CharField(help_text="Such as “with the filter in front of the lens”.")
    words = serializers.CharField(help_text="The verdict under this condition.")
    f_number = serializers.FloatField(allow_null=True)
    stops = SideStopSerializer(many=True)


class BandSerializer(serializers.Serializer):
    """One cut-on group: its sentence and its focal zones."""

    cut_on_group = serializers.CharField(source="group")
    label = serializers.CharField()
    sentence = serializers.CharField()
    tested = serializers.BooleanField()
    worst_zone = serializers.SerializerMethodField(help_text="The zone that the sentence is about.")
    zones = ZoneSerializer(many=True)

    def get_worst_zone(self, band) -> str | None:
        return band.worst.zone if band.worst else None


class AnswerSerializer(serializers.Serializer):
    """What is known of a lens at the reader's cut-on and tolerance."""

    sentence = serializers.CharField()
    cut_on_nm = serializers.FloatField(allow_null=True, help_text="As asked; null means the usual 720 nm.")
    visible_ev = serializers.FloatField()
    teleconverter = serializers.SlugField(source="path.teleconverter.slug", allow_null=True, default=None)
    adapter = serializers.SlugField(source="path.adapter.slug", allow_null=True, default=None)
    here = BandSerializer()
    others = BandSerializer(many=True)
    conditions = serializers.SerializerMethodField(
        help_text="Both sides of what likely splits the reports; empty where nothing does."
    )
    findings = FindingSummarySerializer(many=True)
    method_version = serializers.CharField()
    priors_edition = serializers.IntegerField(source="priors_number")

    def get_conditions(self, answer) -> ConditionSerializer(many=True):
        return ConditionSerializer(conditions_of(answer), many=True).data
