"""What is in the ground: boreholes, loops, trench sections, manifold, main header."""

from __future__ import annotations

from django.db import models

from jobs.firms.models import FirmOwned
from jobs.planning.models import Job


class LoopKind(models.TextChoices):
    BOREHOLE = "borehole", "Borehole, single U-tube"
    TRENCH = "trench", "Trench"


class Borehole(FirmOwned):
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="boreholes")
    code = models.CharField(max_length=12)
    depth_m = models.FloatField()
    driller = models.CharField(max_length=80, blank=True)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["job", "code"], name="one_borehole_code"),
        )

    def __str__(self) -> str:
        return self.code


class Loop(FirmOwned):
    """One parallel path, port to port: `array_m` of pipe in the borehole or trench, `lateral_m` out and back."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="loops")
    code = models.CharField(max_length=12)
    port = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=LoopKind.choices, default=LoopKind.BOREHOLE)
    borehole = models.ForeignKey(Borehole, null=True, blank=True, on_delete=models.PROTECT, related_name="loops")
    od_mm = models.FloatField()
    wall_mm = models.FloatField()
    material = models.CharField(max_length=20, default="PE 100")
    array_m = models.FloatField()
    lateral_m = models.FloatField(default=0)
    fittings_k = models.FloatField(default=6)
    # The section of trench in which its lateral lies.
    section = models.ForeignKey("Section", null=True, blank=True, on_delete=models.PROTECT, related_name="loops")

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["job", "code"], name="one_loop_code"),
            models.UniqueConstraint(fields=["job", "port"], name="one_loop_per_port"),
        )

    def __str__(self) -> str:
        return self.code

    @property
    def length_m(self) -> float:
        return self.array_m + self.lateral_m


class Section(FirmOwned):
    """A planned stretch of trench that is opened, inspected, covered and released as one."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sections")
    code = models.CharField(max_length=12)
    title = models.CharField(max_length=80)
    length_m = models.FloatField()
    depth_mm = models.FloatField()
    width_mm = models.FloatField(default=450)
    order = models.PositiveSmallIntegerField(default=0)

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["job", "code"], name="one_section_code"),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class Header(FirmOwned):
    """The pipe pair from manifold to plant room; `code` H."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="header")
    od_mm = models.FloatField()
    wall_mm = models.FloatField()
    material = models.CharField(max_length=20, default="PE 100")
    length_each_way_m = models.FloatField()
    fittings_k = models.FloatField(default=6)
    section = models.ForeignKey(Section, null=True, blank=True, on_delete=models.PROTECT, related_name="headers")

    class Meta(FirmOwned.Meta):
        pass


class Manifold(FirmOwned):
    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="manifold")
    ports = models.PositiveSmallIntegerField()
    place = models.CharField(max_length=120, blank=True)
    rating_bar = models.FloatField(null=True, blank=True)

    class Meta(FirmOwned.Meta):
        pass
