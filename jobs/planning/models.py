"""What is ordered: customers, sites, jobs, design data, rule sets, instruments, fluid products."""

from __future__ import annotations

from django.db import models

from calcs.fluid import Base
from jobs.firms.models import FirmOwned, Member


class Customer(FirmOwned):
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)

    class Meta(FirmOwned.Meta):
        pass

    def __str__(self) -> str:
        return self.name


class Site(FirmOwned):
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=120)
    address = models.TextField()
    directions = models.TextField(blank=True)
    hazards = models.TextField(blank=True)
    contact_name = models.CharField(max_length=120, blank=True)
    contact_phone = models.CharField(max_length=40, blank=True)
    time_zone = models.CharField(max_length=60, default="Europe/London")
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    frost_depth_m = models.FloatField(null=True, blank=True)
    water_supply_l_min = models.FloatField(null=True, blank=True)

    class Meta(FirmOwned.Meta):
        pass

    def __str__(self) -> str:
        return self.name


class RuleSet(FirmOwned):
    """A versioned set of limits; every number has its source text and status. A version is never changed."""

    name = models.CharField(max_length=120)
    version = models.PositiveIntegerField(default=1)
    limits = models.JSONField()  # code -> {value, unit, source, status}
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["firm", "name", "version"], name="one_rule_set_version"),
        )

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"


class FluidProduct(FirmOwned):
    """A concentrate as it stands in the yard."""

    name = models.CharField(max_length=120)
    base = models.CharField(max_length=30, choices=[(base.value, base.label) for base in Base])
    concentrate_mass_pct = models.FloatField()  # glycol in the drum, % by mass
    density_kg_m3 = models.FloatField(null=True, blank=True)  # of the concentrate at 20 °C, when the maker tells
    minimum_mass_pct = models.FloatField(null=True, blank=True)  # the maker's least strength for its inhibitor
    colour = models.CharField(max_length=30, blank=True)  # empty: no colour, changeover is read at the hose
    drum_l = models.FloatField(default=25)
    hazards = models.TextField(blank=True)

    class Meta(FirmOwned.Meta):
        pass

    def __str__(self) -> str:
        return self.name


class InstrumentKind(models.TextChoices):
    GAUGE = "gauge", "Pressure gauge"
    REFRACTOMETER = "refractometer", "Refractometer"
    FLOW_METER = "flow_meter", "Flow meter"
    THERMOMETERS = "thermometers", "Paired thermometers"
    PUMP = "pump", "Purge or filling pump"
    OTHER = "other", "Other"


class Instrument(FirmOwned):
    kind = models.CharField(max_length=16, choices=InstrumentKind.choices)
    name = models.CharField(max_length=80)
    serial = models.CharField(max_length=60)
    unit = models.CharField(max_length=12)
    range_high = models.FloatField(null=True, blank=True)
    resolution = models.FloatField(null=True, blank=True)
    accuracy = models.FloatField(null=True, blank=True)  # ± in the same unit; of the difference, for a pair
    scale = models.CharField(max_length=20, blank=True)  # refractometer: brix, freezing_point
    scale_base = models.CharField(max_length=30, blank=True)  # the fluid its scale is made for
    calibration_due_date = models.DateField(null=True, blank=True)
    suitable_for_flammable = models.BooleanField(default=False)  # a pump that may stand in a mix that burns

    class Meta(FirmOwned.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.name} {self.serial}"


class JobState(models.TextChoices):
    ACCEPTED = "accepted", "Accepted"
    DESIGNED = "designed", "Designed"
    SCHEDULED = "scheduled", "Scheduled"
    IN_GROUND = "in_ground", "In the ground"
    TESTED = "tested", "Tested"
    BACKFILLED = "backfilled", "Backfilled"
    FLUSHED = "flushed", "Flushed"
    FILLED = "filled", "Filled"
    RUNNING_IN = "running_in", "De-aeration run"
    READY = "ready", "Ready for final readings"
    SUBMITTED = "submitted", "Submitted"
    RETURNED = "returned", "Returned"
    APPROVED = "approved", "Approved"
    HANDED_OVER = "handed_over", "Handed over"
    ON_HOLD = "on_hold", "On hold"
    CANCELLED = "cancelled", "Cancelled"


class FillProcedure(models.TextChoices):
    LOOP_BY_LOOP = "loop_by_loop", "Loop by loop behind water"
    CIRCULATE = "circulate", "Dose and circulate"
    PRE_FILLED = "pre_filled", "Loops come filled"
    WATER_ONLY = "water_only", "Water only"


class Job(FirmOwned):
    """One ordered array. `version` rises with every change below or at it; upper rooms catch up by it."""

    number = models.PositiveIntegerField()
    title = models.CharField(max_length=120)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="jobs")
    rule_set = models.ForeignKey(RuleSet, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=12, choices=JobState.choices, default=JobState.ACCEPTED)
    planned_start_date = models.DateField(null=True, blank=True)
    fill_procedure = models.CharField(max_length=16, choices=FillProcedure.choices, default=FillProcedure.LOOP_BY_LOOP)
    scope = models.JSONField(default=dict, blank=True)  # phases that are not ours: see `trade.scope_of`
    on_hold_reason = models.CharField(max_length=200, blank=True)
    state_before_hold = models.CharField(max_length=12, choices=JobState.choices, blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    scheduler = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")

    class Meta(FirmOwned.Meta):
        constraints = (
            *FirmOwned.Meta.constraints,
            models.UniqueConstraint(fields=["firm", "number"], name="one_job_number"),
        )
        indexes = (models.Index(fields=["firm", "state"]),)

    def __str__(self) -> str:
        return f"Job {self.number} {self.title}"


class Design(FirmOwned):
    """The design data of a job: heat pump, fluid, header. Loops, boreholes and sections are in `ground`."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="design")
    revision = models.CharField(max_length=20, default="A")
    product = models.ForeignKey(FluidProduct, on_delete=models.PROTECT, related_name="+")
    freezing_point_c = models.FloatField()  # target
    cold_fluid_c = models.FloatField(default=0)  # temperature for flow and pressure drop
    heating_kw = models.FloatField()
    cop = models.FloatField()
    rating_point = models.CharField(max_length=20, default="B0/W35")
    spread_k = models.FloatField(default=3)
    minimum_flow_l_min = models.FloatField(null=True, blank=True)
    evaporator_drop_kpa = models.FloatField(null=True, blank=True)
    evaporator_flow_l_min = models.FloatField(null=True, blank=True)
    frost_alarm_c = models.FloatField(null=True, blank=True)
    plant_volume_l = models.FloatField(default=10)  # heat pump, vessel, strainer and plant-room pipes
    bin_l = models.FloatField(default=200)
    purge_pump_l_min = models.FloatField(null=True, blank=True)
    purge_pump_kpa = models.FloatField(null=True, blank=True)
    deaeration_days = models.PositiveSmallIntegerField(default=10)
    static_height_m = models.FloatField(null=True, blank=True)

    class Meta(FirmOwned.Meta):
        pass
