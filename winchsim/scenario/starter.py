"""The commented scenario that ``winchsim new`` writes: it loads, lifts and holds as it stands."""

STARTER = """\
# A lift for winchsim. Change the values to those of your build; "winchsim keys" lists every key.
# A value with a dimension stands in quotes with its unit, whichever you have: "25 kg", "55 lb",
# "1/4 in", "0.5 Nm". What you leave out is assumed, and the report lists all that it assumed.

# This is not rated lifting equipment. Nobody stands under or beside a hanging load. Local codes
# apply. A licensed or competent person decides whether and how it may be used.

title = "Tool chest onto the loft"

# --- the motors, all driving the first gear -------------------------------------------------------
[[motors]]
count = 4                        # equal motors in this group; a second [[motors]] adds another
voltage = "12 V"                 # the voltage at which the next four lines hold
no_load_speed = "12000 rpm"      # from the data sheet, or measured with nothing on the shaft
no_load_current = "110 mA"
stall_torque = "13 mN*m"         # held still; also read: "130 g*cm", "1.84 oz*in"
stall_current = "1.6 A"
# known_by = "bench"             # no data sheet? "bench" and "label" take what you can measure

# --- what feeds them ------------------------------------------------------------------------------
[supply]
voltage = "12 V"
resistance = "0.2 ohm"           # inside the supply and in the wires
current_limit = "8 A"            # leave this line out if the supply has none
# kind = "battery"               # a bench supply takes no current back, a battery does

# --- the gears, from the motors to the drum: one [[stage]] for each pair, or several equal ones ---
[[stage]]
repeat = 4                       # four pairs of 12:48 make 256:1
pinion = 12                      # teeth of the small gear
gear = 48                        # teeth of the large gear
module = "1 mm"                  # or diametral_pitch = "24 1/in"
width = "8 mm"
material = "PETG"                # "winchsim materials" shows what there is
walls = 4                        # printed walls; leave out walls and infill for a solid gear
infill = "40 %"
# greased = true

# --- the drum and the rope ------------------------------------------------------------------------
[drum]
diameter = "12 mm"               # bare drum, without rope
width = "40 mm"                  # between the flanges

[rope]
material = "polyester"
diameter = "3 mm"
# falls = 2                      # parts of rope that carry the load, with a block at the load

# --- the load -------------------------------------------------------------------------------------
[load]
mass = "10 kg"
height = "0.6 m"                 # how far it is to be lifted
"""
"""Text of the scenario. The numbers are our own demonstration, of no particular motor or
machine."""
