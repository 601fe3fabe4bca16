package overview

import "trunnion/tuning/session"

// About is what a task is for, in the words of the bench.
type About struct {
	Finds string // what it finds out
	Moves string // what moves, and how far
	Gives string // what comes of it
	Brief string // what moves, in a few words
}

// Tell is what a task is for.
func Tell(t session.Task) About { return abouts[t] }

var abouts = map[session.Task]About{
	session.Check: {
		"whether the axis moves at all and which way, how fast the shaft turns, roughly where the dead band lies, how far the servo may go",
		"short bursts of drive under a count guard until a pulse is found that holds the output still; then the drive stays on and the tilt goes outward in steps, both sides in turn",
		"shaft speed, a first neutral, pulse limits",
		"bursts of drive, then tilts in steps",
	},
	session.DeadBand: {
		"where the output begins to turn and where it ceases, outward and inward, above and below",
		"some fifty tries of two shaft turns each; the output creeps to and fro near where it stands",
		"four edges, hysteresis, width, neutral",
		"small tries about the edges",
	},
	session.Curve: {
		"which ratio each pulse gives, on both sides and by both approaches",
		"some thirty readings from slow to as fast as the output will go, both ways, inside its travel",
		"the readings that the curve is fitted to",
		"readings, slow to fast, both ways",
	},
	session.Fit: {
		"the law that the readings follow, and how well",
		"nothing moves",
		"the ratio curve with its band, and the inverse table",
		"",
	},
	session.Step: {
		"how fast the axis answers",
		"steps of tilt while it turns, a second a step",
		"dead time, lag and gain",
		"steps of tilt while it turns",
	},
	session.Gains: {
		"gains that are brisk without hunting, and what they will do",
		"nothing moves",
		"gains, margins, hold zone, a prediction",
		"",
	},
	session.Prove: {
		"whether the axis goes where it is sent",
		"the loop is closed and goes fine, middling and large steps, up to a sixth of the travel either way",
		"settled error, and each step beside its prediction",
		"closed-loop steps, fine to large",
	},
}
