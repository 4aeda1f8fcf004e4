"""Every kind of status, check, reading, outcome, action and finding."""

from enum import StrEnum


class Status(StrEnum):
    """How a check stands, worst first."""

    FAILS = "fails"
    """Misses its hard limit."""
    THIN = "thin"
    """Meets the hard limit, but not the required value, or its range crosses the hard limit."""
    NOT_CHECKED = "not checked"
    """An input is missing."""
    OK = "ok"
    """Meets the required value, with its whole range beyond the hard limit."""

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return list(Status).index(self)


class Side(StrEnum):
    """On which side of its limit a value has to lie."""

    LEAST = "at least"
    MOST = "at most"


class CheckKey(StrEnum):
    """Every check, in the order in which a reader asks; the values stand in JSON."""

    TARGET = "target"
    """Height that the load reached against the height asked for; of a lowering, 1 or 0. [m]"""
    LIFT_TIME = "lift_time"
    """From power on to the load at its height, against the time limit. [s]"""
    START_COLD = "starting_margin_cold"
    """Torque of the motors at rest over that which starts the load on the fullest layer. [-]"""
    START_HOT = "starting_margin_hot"
    """The same with the windings at their limit. [-]"""
    HOLD = "holding_margin"
    """Pull that the train at rest just holds with the power off over the pull of the load. [-]"""
    HOLD_DISTURBED = "holding_margin_disturbed"
    """The same after a disturbance has set the train going. [-]"""
    WINDING = "winding_temperature"
    """Hottest winding, of the group that comes nearest to its limit. [°C]"""
    PARTS = "weakest_part"
    """Capacity over demand of the part with the least share of its required factor. [-]"""
    JAM = "jam"
    """Least capacity over demand of any part in a jam under full power, rotors included. [-]"""
    ROPE_BEND = "rope_bend"
    """Drum diameter over rope diameter. [-]"""
    DRUM_CAPACITY = "drum_capacity"
    """Rope that the drum takes over the rope that the lift winds on. [-]"""
    CONTINUOUS_CURRENT = "continuous_current"
    """Mean current of a motor over a quarter of its stall current: above 1, no continuous duty."""
    SUPPLY = "supply_limit"
    """Share of the raising for which the supply is at its current limit. [-]"""
    BATTERY = "battery"
    """Charge that a battery has over the charge drawn. [-]"""
    ENERGY = "energy_balance"
    """Error of the energy balance over its allowed error. [-]"""


class ReadingKey(StrEnum):
    """Numbers that have no limit of their own."""

    HEIGHT = "height"
    """Highest. [m]"""
    FINAL_HEIGHT = "final_height"
    SPEED = "speed"
    """Of the load along its path, over the middle half of the height. [m/s]"""
    PEAK_CURRENT = "peak_current"
    """Of the supply. [A]"""
    MEAN_CURRENT = "mean_current"
    """Of the supply over the lift, or over all time under power where it was not reached. [A]"""
    PEAK_TENSION = "peak_tension"
    """Of the rope above the load. [N]"""
    ENERGY_IN = "energy_in"
    """From the supply. [J]"""
    EFFICIENCY = "efficiency"
    """Gain of potential energy over energy in, while raising. [-]"""
    CHARGE = "charge"
    """[C]"""
    LOWERING_TIME = "lowering_time"
    """[s]"""
    BACK_DRIVING_SPEED = "back_driving_speed"
    """Largest speed of the load along its path where it came back unasked. [m/s]"""


class End(StrEnum):
    """How the lift or programme ended: the cause, where the target was missed."""

    REACHED = "reached"
    DONE = "done"
    """A programme that does not raise to a height, carried out as asked."""
    STALLED = "stalled"
    STALLED_AT_LAYER_END = "stalled_at_layer_end"
    LATE = "late"
    """Still moving when the time ran out."""
    PART_BROKE = "part_broke"
    DRUM_OVERFLOW = "drum_overflow"
    PAID_OUT = "paid_out"
    BATTERY_EMPTY = "battery_empty"
    SUPPLY_TRIPPED = "supply_tripped"
    SNAGGED = "snagged"
    TOP_STOP = "top_stop"
    BACK_DRIVEN = "back_driven"
    NOT_TRUSTED = "not_trusted"
    """The computation broke off, or its energy balance does not close."""


class Holding(StrEnum):
    """What holds the load with the power off."""

    PAWL = "pawl"
    BRAKE = "brake"
    LOCKED_TRAIN = "locked_train"
    """No load torque reaches the motors; by friction all the same."""
    FRICTION = "friction"
    NONE = "none"
    """Nothing: it back-drives."""


class NoLimit(StrEnum):
    """Why there is no current limit that prevents a break."""

    NOT_NEEDED = "not_needed"
    RAISING_BREAKS = "raising_breaks"
    """Raising the load takes more current than the parts stand."""
    ROTORS = "rotors"
    """Raising itself is borne, but the rotors' momentum breaks a part at any current."""
    NOT_RAISED = "not_raised"
    """The motors do not raise the load in any case."""


ActionKind = StrEnum(
    "ActionKind",
    [
        "LESS_LOAD",
        "MORE_MOTORS",
        "THINNER_DRUM",
        "MORE_RATIO",
        "ONE_MORE_STAGE",
        "MORE_VOLTAGE",
        "HIGHER_CURRENT_LIMIT",
        "LOWER_CURRENT_LIMIT",
        "PAWL",
        "BRAKE",
        "LEAVE_OUT_GROUP",
        "STRONGER_PART",
    ],
)
"""What an action does."""


class FindingKind(StrEnum):
    """What a run showed beyond its checks; each names the keys of its values (SI)."""

    PART_BROKE = "part_broke"
    """part, path, kind, unit, demand, capacity, capacity_low, capacity_high, basis, state (a
    `LinkState`: ``may break`` where the demand is within the range of the capacity)."""
    STALLED = "stalled"
    """torque_share, from_rest, layer_end (bool), blocked_by (``battery_empty``, ``snagged``,
    ``top_stop`` or empty), time_to_limit (until a stalled winding passes its limit)."""
    LATE = "late"
    """time_limit, action (``raise`` or ``lower``)."""
    BACK_DRIVEN = "back_driven"
    """from_height, to_height, speed, powered, in_guide, stopped (by friction, above the floor),
    landing_speed, landing_energy (None where it did not land)."""
    CREEPS = "creeps"
    """let_down, watched: the drum still turns back when the watch with the power off ends."""
    HELD = "held"
    """watched, let_down."""
    FELL = "fell"
    """landing_speed, landing_energy of a free fall after a part has broken: the rest of a train
    that turns with the load makes it slower."""
    LANDED_HARD = "landed_hard"
    """speed, energy, asked (whether a lowering was meant)."""
    SUPPLY_LIMITED = "supply_limited"
    """current_limit, duration, raising_time."""
    SUPPLY_NOT_DESCRIBED = "supply_not_described"
    """inrush, and by `winchsim.physics.sources.Ordinary` how far beyond each that is (over 1: it
    limits, blows or loses half its voltage): neither resistance nor limit was given."""
    BATTERY_EMPTY = "battery_empty"
    """charge, charge_capacity."""
    SUPPLY_TRIPPED = "supply_tripped"
    """current: a supply that switched itself off by overcurrent, and what was drawn just before."""
    WEDGED = "wedged"
    """count, drum_speed (as it stopped first), energy: a self-locking stage stopped the drum."""
    ROPE_SLACK = "rope_slack"
    """count: how often the rope of a hanging load went slack."""
    NO_RESTART = "no_restart"
    """margin: of a load that is lifted, but that the motors do not start where it hangs. [-]"""
    DRUM_OVERFLOW = "drum_overflow"
    PAID_OUT = "paid_out"
    SNAGGED = "snagged"
    """speed, energy, tension (the most of the rope then), hanging (that of the load alone)."""
    TOP_STOP = "top_stop"
    """The same."""
    STICK_SLIP = "stick_slip"
    """count, rate, pull_low, pull_high: of the slips in the guide, and the swing of the pull;
    averaged: whether only these were followed one by one, and the mean motion from then on."""
    NOT_TRUSTED = "not_trusted"
    """reason (outcome of the integration), energy_error, work (events that happened most often)."""
    TEETH_WARM = "teeth_warm"
    """part, path, material, flank, root, flank_limit, root_limit, lasting (whether the run lasts
    long enough to warm them)."""
    RIM_THIN = "rim_thin"
    """part, path, low, high, more: outside the range of published rim factors."""
    CREEP = "creep"
    """part, path, material, share, share_limit, temperature: a polymer part that holds the load for
    long; share of its capacity, at least."""
    WINDING = "winding"
    """quantity (``layers`` or ``dead_turns``), value, limit: a fibre rope on a flat drum."""
    ABOVE_NOMINAL_VOLTAGE = "above_nominal_voltage"
    """group, voltage, nominal."""
    FAR_BELOW_NOMINAL_VOLTAGE = "far_below_nominal_voltage"
    """group, voltage, nominal."""
    OVERHEATED = "overheated"
    """group, winding_peak, winding_limit."""
    DRAGGED_GROUP = "dragged_group"
    """group, power: a group of motors that the others drag along while raising. [W]"""
    NO_PATH_DOWN = "no_path_down"
    """A pawl is fitted and a lowering is asked for."""
    GEAR_GEOMETRY = "gear_geometry"
    """paths, flaw (`GearFlaw` value), side (``pinion``, ``gear`` or empty), teeth, value, limit."""


class GearFlaw(StrEnum):
    """What is wrong with a pair of gears."""

    UNDERCUT = "undercut"
    """Teeth, against the fewest without undercut."""
    CUT_BY_GEAR = "cut_by_gear"
    """The gear's tips reach below the pinion's base circle."""
    CONTACT_RATIO = "contact_ratio"
    CLEARANCE = "clearance"
    """Room between the tips of `side` and the roots of the other gear, in modules."""
    TIP_THICKNESS = "tip_thickness"
    """In modules."""


Caution = StrEnum(
    "Caution",
    [
        "NOT_RATED",
        "KEEP_CLEAR",
        "DROP",
        "NO_PEOPLE",
        "FRICTION",
        "GUARDS",
        "TEST_LOADS",
        "LOWERING",
        "LOCAL_CODES",
    ],
)
"""What everybody who builds the lift has to know, whatever the numbers are."""
