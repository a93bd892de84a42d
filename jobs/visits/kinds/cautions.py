"""The usual cautions, short. None replaces local codes or the judgement of whoever is licensed for the work."""

from __future__ import annotations

from jobs.sums.trade import HOSE, LOCAL, PRESSURE

__all__ = [
    "CHAMBER",
    "DEAD_HEAD",
    "DRILLING",
    "ELECTRICITY",
    "FLAMMABLE",
    "FLUID",
    "FUSION",
    "HOSE",
    "LOCAL",
    "PRESSURE",
    "SERVICES",
    "TRENCH",
    "WASTE",
    "WATCH",
]

WATCH = (
    "Lower to the watch pressure before anybody works beside the pipe.",
    LOCAL,
)
TRENCH = (
    "Never enter a trench that is not supported or battered: any depth can collapse.",
    "Inspect at the start of the shift, after rain and after anything has fallen in. Keep spoil and plant off the edge.",
    LOCAL,
)
FUSION = (
    "The tool is about 260 °C: gloves, a safe place to put it down, no wipes near the heat.",
    "Generator and tool stay dry. Let the joint cool before it is moved, longer before it is pressed.",
    LOCAL,
)
FLUID = (
    "Read the safety data sheet. Gloves and eye protection; keep eye wash and spill kit at hand.",
    "Alcohol mixes burn: no ignition, no ordinary pump motor. Some glycol is poisonous to drink.",
    "Fill through the open bin, never with a hose fixed to the mains. Nothing goes to drain or ditch without consent.",
    LOCAL,
)
ELECTRICITY = (
    "Live parts behind the panel: only who is qualified opens it. Isolate before you reach inside.",
    "The refrigerant circuit is for certified people only.",
    LOCAL,
)
SERVICES = (
    "A clear sweep is no proof: plastic gas and water pipe is invisible to a locator.",
    "Dig by hand near a service. Stop when the ground does not match the records.",
    LOCAL,
)
CHAMBER = (
    "A deep chamber may be a confined space: test the air, never go in alone. Lids are heavy: lift with two.",
    LOCAL,
)
DRILLING = (
    "Keep clear of the rig and its hoses. Cover an open hole. Cement burns skin and eyes.",
    LOCAL,
)
FLAMMABLE = (
    "This mix burns: no flame, no spark, no smoking; shut off what could light it.",
    "Only a pump that its maker says is fit for a fluid that burns. Keep switches and plugs away from the bin.",
    "Work in the open or with plenty of air: the vapour is heavier than air and gathers in pits and chambers.",
)
DEAD_HEAD = (
    "The pressure jumps when the return shuts: nobody beside hoses, caps or the manifold. Shut it slowly.",
    *HOSE,
)
WASTE = (
    "Never to a ditch, a surface drain or the ground. To a foul sewer only with consent.",
    LOCAL,
)
