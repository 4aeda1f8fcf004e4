"""Four small motors that many tests build a winch on."""

from winchsim.inputs import MotorGroup

FOUR_MOTORS = MotorGroup(
    count=4,
    voltage=6.0,
    no_load_speed=1200.0,
    no_load_current=0.09,
    stall_torque=6e-3,
    stall_current=1.4,
)
