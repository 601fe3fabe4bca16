// Package hunting says whether an axis under its control law will go to and fro for ever, how far and how fast, and
// chooses a hold zone that keeps it from it.
//
// # Three ways to look
//
// A describing function is what a nonlinear element does to a sine, by its first harmonic: DeadZone, Backlash, Relay,
// Saturation. LimitCycles solves the harmonic balance L(jw) N(A) = -1 for a linear loop L and an element N, and tells
// stable from unstable cycles by the criterion of Loeb. It is quick and tells why, but it takes the signal for a sine:
// for an integrating axis with backlash it is 7 to 8 % high in amplitude and up to a quarter in frequency.
//
// Run simulates what will really be there: the control law of package pid with its table, limits and hold zone, the
// servo's frame, dead time, lag, the variator's own dead band, play of the tilt, lost motion before the sensor, and the
// sensor's steps. Assess judges such a run, or a recorded one: quiet, dying, hunting, or too short to tell.
//
// HoldZone puts both together: the smallest hold zone that stops the hunting from every start tried, and whether
// integral action can stay.
//
// # What to expect
//
// Integral action on an integrating axis with lost motion always has a limit cycle by the first harmonic: the loop starts
// at -180 degrees and -1/N of backlash lies in the third quadrant, so the two must meet. A dead zone alone, in a loop
// that crosses the negative real axis only once, has none; it leaves an error or is crossed slowly.
//
// The package moves nothing and knows no wires or files. Units of position are free but must agree; ratios and times as
// in package pid. Functions are pure.
//
// # Sources
//
// A. Gelb and W. E. Vander Velde, Multiple-Input Describing Functions and Nonlinear System Design, McGraw-Hill 1968
// (backlash: case 48 there; Loeb's criterion from memory). Relay with hysteresis: K. J. Astrom and R. M. Murray, Feedback
// Systems, second edition, example 10.12. That integral action with backlash hunts: M. Nordin and P.-O. Gutman,
// Automatica 38 (2002) 1633 (from memory).
package hunting
