// Package rig holds the description of a rig that its maker writes, checks it before anything moves, and does the
// arithmetic that follows from it: counts to output turns, output turns to joints and back, and how far an output may
// turn before a joint leaves its travel.
//
//	described, err := rig.Parse("trolley.toml", text)
//	var wrong *rig.Errors
//	if errors.As(err, &wrong) { ... every mistake, each with line, column, key and remedy }
//
// The description says only what a maker knows from the drawing: what is wired where, counts, gearing, travel, limits.
// Edges, neutral, the ratio curve and the datum's place are never in it; they are measured.
//
// # The file
//
// It is TOML, read strictly: an unknown key is a mistake. Keys marked with * may be left out.
//
//	format = 1                       # of this description
//	name = "scenery lift"            # of the rig
//
//	[drive]
//	nominal_rpm = 420                # drive shaft, turns a minute, as it runs on the bench
//	reversible = false               # * the motor can turn in reverse
//	selector = false                 # * the drive engages one output at a time
//	changeover_s = 0.4               # seconds a change takes; only, and always, with a selector
//	[drive.sensor]                   # on the drive shaft
//	counter = 0                      # the controller's number for this sensor input
//	kind = "incremental"             # incremental, absolute or mark
//	counts_per_turn = 400            # every edge counted: four times the lines of an incremental one
//
//	[[axis]]                         # once for each variator
//	name = "traverse"
//	servo = 0                        # the controller's axis number
//	worm = true                      # a worm behind the output wheel
//	[axis.pulse]
//	least_us = 1000                  # the servo is never sent less, in microseconds
//	most_us = 2000                   # nor more
//	middle_us = 1500                 # * where the servo was assembled; 1500
//	slew_us_per_s = 3000             # * fastest change; left out: no bound
//	[axis.sensor]                    # * at the output wheel; may be left out where a joint's sensor decides
//	counter = 1
//	kind = "incremental"
//	counts_per_turn = 400
//	[axis.variator]                  # * what is known of its build
//	contacts = "ball"                # * ball, wheel on disc, or unknown; unknown
//	drive_wheel_mm = 30.0            # * diameters over the running surface; both or none
//	output_wheel_mm = 30.0           # * with wheel on disc, drive_wheel_mm is the disc
//	wheel_tolerance_percent = 1.0    # * each diameter is surely within this; 1
//	degrees_per_us = 0.09            # * tilt for a microsecond of pulse
//
//	[[joint]]                        # as many as axes
//	name = "trolley"
//	unit = "mm"                      # mm or deg
//	per_turn = { traverse = 4.0 }    # joint movement for an output turn forward; axes not named do not move it
//	travel = { least = -380, most = 380 } # from the datum, in the joint's unit
//	endless = false                  # * true: it turns without end, and has no travel, datum, free_at_start
//	datum = "pointer on the mark"    # in words, for the person who brings it there; with travel
//	free_at_start = 60               # surely free either way from where it stands at power-up; with travel
//	carries_weight = false           # * up and down differ
//	tolerance = 0.5                  # * settled error that is asked for, in the joint's unit; 0.5
//	[joint.sensor]                   # * on the joint itself
//	counter = 4
//	kind = "absolute"
//	counts_per_turn = 4096           # * of the sensor's own shaft; needed on a joint in degrees without the next
//	counts_per_unit = 11.378         # * for a mm or degree; negative where it counts down as the joint goes up
//
//	[goals]                          # * what is asked of the calibration
//	curve_percent = 0.5              # * standard error of the ratio curve, percent of the ratio
//	edge_us = 1.0                    # * standard error of a dead-band edge, microseconds
//	ms = 1.6                         # * greatest sensitivity peak Ms of a loop
//
// # Signs
//
// An output turns forward when its counter counts up. A per_turn is negative where forward takes the joint down. Which
// tilt turns an output forward is not known beforehand and is not in the file. Where a counter turns out to be plugged
// in the other way round, either its leads are swapped or the sign of per_turn.
//
// # What it is not
//
// It reads no files, and it knows nothing of the controller until Check compares the two. Values are plain and may be
// shared as long as nobody writes to them; every method is pure.
//
// # Sources
//
// That hobby servos take pulses of 1000 to 2000 us nominally and many take 500 to 2500 us, that 1000 us make about 90
// degrees, and that a full turn of a quadrature encoder has four counts a line, is common practice; the bounds of the
// pulse keys leave a little more. The bound of 60000 edges a second in Notes is what a 16 MHz 8-bit controller counted
// without loss on four inputs (measured on a simulated ATmega2560). The ratio of a ball between contacts 90 degrees
// apart is the wheels' quotient times tan(tilt), and that of a wheel on a disc is its place on the disc over its own
// radius; both are geometry.
package rig
