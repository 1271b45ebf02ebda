"""Standards, reference materials and reagents, lot by lot; certified values by dissolution and element."""

from django.db import models
from django.db.models import F, Q

from labresults.models.base import Made, not_below_zero, one_of, word
from labresults.terms import EquipmentKind, MaterialKind, OverrideKind


class Material(models.Model):
    """Something that is bought or made in lots."""

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=200)
    kind = word(MaterialKind)

    class Meta:
        constraints = [one_of("kind", MaterialKind, "material_kind")]

    def __str__(self) -> str:
        return self.code


class Lot(Made):
    """One lot of a material, with the lot that it was made from."""

    number = models.CharField(max_length=20, unique=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="lots")
    made_from = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="made_into")
    received_on = models.DateField()
    expires_on = models.DateField()
    certificate = models.CharField(max_length=100, blank=True, help_text="The supplier's certificate, by its number.")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(expires_on__gte=F("received_on")), name="lot_expires_after_receipt")
        ]

    def __str__(self) -> str:
        return self.number


class Content(models.Model):
    """What a lot holds of an element: by preparation, or as certified under one dissolution."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="contents")
    element = models.ForeignKey("labresults.Element", on_delete=models.PROTECT, related_name="+")
    dissolution = models.CharField(max_length=60, blank=True, help_text="Empty for solutions.")
    value = models.FloatField(help_text="In the unit beside it.")
    unit = models.CharField(max_length=20)
    u = models.FloatField(null=True, blank=True, help_text="Standard uncertainty, same unit.")
    is_certified = models.BooleanField(default=True, help_text="No: an indicative value.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "element", "dissolution"], name="content_once"),
            not_below_zero("value", "content_not_below_zero"),
            not_below_zero("u", "content_u_not_below_zero"),
        ]


class Equipment(models.Model):
    """Something that must be calibrated."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=200)
    kind = word(EquipmentKind)
    tray_racks = models.PositiveSmallIntegerField(default=1, help_text="Racks of a spectrometer's tray.")
    tray_rows = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Rows of places in a rack.")
    tray_columns = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Places in a row.")
    tray_by_column = models.BooleanField(default=False, help_text="Places count down the columns, not along the rows.")

    class Meta:
        constraints = [
            one_of("kind", EquipmentKind, "equipment_kind"),
            models.CheckConstraint(
                condition=Q(tray_rows__isnull=True, tray_columns__isnull=True)
                | Q(tray_rows__gte=1, tray_columns__gte=1, tray_racks__gte=1),
                name="equipment_tray_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class EquipmentCheck(Made):
    """A calibration or check of a piece of equipment, and until when it holds."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="checks")
    done_on = models.DateField()
    due_on = models.DateField(help_text="The next one is due.")
    what = models.CharField(max_length=200)
    certificate = models.CharField(max_length=100, blank=True)
    passed = models.BooleanField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(due_on__gte=F("done_on")), name="equipment_check_due")]


class Override(Made):
    """A person with the authority for it let an expired lot or overdue equipment be used on one day, with a reason."""

    kind = word(OverrideKind)
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="overrides")
    equipment = models.ForeignKey(Equipment, null=True, blank=True, on_delete=models.PROTECT, related_name="overrides")
    valid_on = models.DateField(help_text="The day on which it may be used.")
    reason = models.TextField()

    class Meta:
        constraints = [
            one_of("kind", OverrideKind, "override_kind"),
            models.CheckConstraint(condition=~Q(reason=""), name="override_reason"),
            models.CheckConstraint(
                condition=Q(kind=OverrideKind.EXPIRED_LOT, lot__isnull=False, equipment__isnull=True)
                | Q(kind=OverrideKind.OVERDUE_EQUIPMENT, lot__isnull=True, equipment__isnull=False),
                name="override_of_one_thing",
            ),
        ]
