# Settings of one turntable. Edit, copy to the board beside roundstop_table.py, reset the board.
# Every value is checked at power-up. A wrong one is named in the answer to every line, and
# the table does not turn until it is put right. Lengths of time are in seconds; a "step" is one
# half-step of a four-coil motor, or one pulse to a step/direction driver.

# --- The motor -------------------------------------------------------------------------------
# "four_coils": four outputs to a Darlington driver, IN1 to IN4, half-stepped by this program.
# "step_dir":   three outputs, STEP, DIR and ENABLE, to a driver that holds the coils itself.
driver = "four_coils"
coil_pins = (18, 19, 21, 22)        # IN1, IN2, IN3, IN4: usable on RP2040 and on ESP32 boards
step_pin = 18                       # these four are used with "step_dir" only
dir_pin = 19                        # high for the motor's rising steps
enable_pin = 21                     # switches the driver's coils on and off
enable_on_level = 0                 # most such drivers are on while ENABLE is low
reverse = False                     # True if A+ turns clockwise seen from above

# Steps in one turn of the plate, as a fraction. Geared 5 V hobby stepper, counted teeth
# 22*26*31*32 / (9*9*10*11): 64 half-steps * 25792/405 = 1650688/405 = 4075.77. A unit with a
# true 64:1 gear has 4096/1. Measure yours: mark the plate, turn it ten times, see what is missing.
steps_num = 1650688                 # this many steps ...
steps_den = 405                     # ... in this many turns

# --- Speed, in steps a second ----------------------------------------------------------------
start_rate = 120                    # never faster than this from rest or into rest (pull-in)
cruise_rate = 250                   # the set speed
cap_rate = 600                      # cruise_rate above this is refused; loaded motors stall sooner
accel = 400                         # steps a second, each second; less for a heavy plate
# 0 or None: straight ramps. Above 0: S-shaped ramps; accel then rises and falls by this much a second.
# Delivered straight: at these speeds the swing after a turn comes from the last step out of
# start_rate; an S of 8000 takes 5 % off it and makes a turn of 5 degrees 5 % longer. Where accel is
# high and start_rate low it pays: 20, 1500 and a jerk of 8000 leave 40 % less (see README.md).
jerk = 0                            # steps a second, each second, each second
pacer = "loop"                      # "loop", "timer", or "auto": what makes the steps, see README.md
energise_s = 0.05                   # from coils on to the first step: lets the rotor line up

# Coils go off after this long without a turn: the motor stays cool, friction and the gear hold
# the plate. M171 keeps them on until M172, M2 or M30.
idle_release_s = 2.0                # 0: at once
host_quiet_s = 300                  # M171 ends when the computer is silent this long; 0: never

# --- The shutter: each output drives the LED of an optocoupler, never the camera itself -------
half_press_pin = 26                 # None if there is no such line
full_press_pin = 27                 # None if the shutter is not wired: M170 is then refused
shutter_on_level = 1                # the level that presses
half_press_s = 0.0                  # half press held before the full press, when M170 has no Q
full_press_s = 0.2                  # full press, when M170 has no P

# --- Turning alone, before any computer has sent a line ---------------------------------------
spin_switch_pin = 4                 # None if there is no switch; the board's pull-up is used
spin_switch_on_level = 0            # a switch to ground reads 0 when on
spin_at_power_up = False            # True: spin from power-up without a switch
spin_turn_s = 40                    # seconds for one turn
spin_reverse = False                # True: spin clockwise

# --- The index: a switch or magnet sensor that is on over a short part of the turn, for M176 ---
index_pin = None                    # None if there is none; the board's pull-up or pull-down is used
index_on_level = 0                  # the level when the switch or sensor is on
index_at_deg = 0.0                  # the angle at which it comes on in a turn in A+ direction
