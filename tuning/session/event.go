package session

import (
	"encoding/json"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// Task is one of the seven of an axis.
type Task string

// The tasks, in bench order.
const (
	Check    Task = "check"
	DeadBand Task = "dead band"
	Curve    Task = "curve"
	Fit      Task = "fit"
	Step     Task = "step"
	Gains    Task = "gains"
	Prove    Task = "prove"
)

// Tasks lists the seven in bench order.
func Tasks() []Task { return []Task{Check, DeadBand, Curve, Fit, Step, Gains, Prove} }

// Moves reports whether a task moves the rig; the others only compute.
func (t Task) Moves() bool { return t != Fit && t != Gains }

// Kind of an event: those of bench notes, and the session's own below. Part of
// the record format: never change one, only add.
type Kind string

// The session's own kinds.
const (
	Opened Kind = "opened" // the rig, the controller, the program: data is Opening
	State  Kind = "state"  // armed, stopped, cleared, parked
	Began  Kind = "began"  // a task
	Ended  Kind = "ended"  // a task: data is Outcome
	Called Kind = "call"   // of the bench, for playback: data is playback.Call
)

// durable reports whether an event of this kind is synced before it is shown.
func (k Kind) durable() bool {
	return bench.Kind(k).Durable() || k == Opened || k == Ended || k == State
}

// Event is one thing that happened, as it is shown and recorded. Sequence and
// Wall are the record's own; the rest is the payload.
type Event struct {
	Sequence uint64          `json:"-"`
	Wall     time.Time       `json:"-"`
	Kind     Kind            `json:"-"`
	At       units.Instant   `json:"at_us,omitempty"` // on the controller's clock, as far as a call had told it
	Axis     string          `json:"axis,omitempty"`
	Task     Task            `json:"task,omitempty"`
	Text     string          `json:"text,omitempty"`
	Data     json.RawMessage `json:"data,omitempty"`
}

// stateArmed is the text of the State event of Arm, whose data is ArmedData.
const stateArmed = "armed"

// ArmedData says from where the joints' travel is measured, in counts that hold
// until the controller's next start.
type ArmedData struct {
	Boot  uint32     `json:"boot"`
	Zeros []rig.Zero `json:"zeros"`
}

// Opening is the data of an Opened event: all that a replay needs beside the
// calls and samples.
type Opening struct {
	Software string          `json:"software"`
	RigHash  string          `json:"rig_hash"`
	Rig      json.RawMessage `json:"rig"`
	Identity bench.Identity  `json:"identity"`
	StandsAt StandsAt        `json:"stands_at,omitempty"`
}

// Outcome is the data of an Ended event.
type Outcome struct {
	Done  bool   `json:"done"`
	Error string `json:"error,omitempty"`
}
