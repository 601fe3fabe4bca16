package physics

import "slices"

// Machine holds every parameter of the physics. Units are in the names; a field
// left at zero means that the effect is absent, unless Validate asks for it.
type Machine struct {
	Name       string    `toml:"name"`
	StepMicros int64     `toml:"step_micros"` // integration step, us; 0 means DefaultStepMicros
	Drive      Drive     `toml:"drive"`
	Axes       []Axis    `toml:"axes"`
	Joints     []Joint   `toml:"joints"` // as many as axes
	Counters   []Counter `toml:"counters"`
}

// DefaultStepMicros is the integration step where the machine states none, us.
const DefaultStepMicros = 500

// Drive is the motor with its gearbox and the drive shaft. Its torque falls on
// a straight line from stall to no load.
type Drive struct {
	NoLoadRPM     float64 `toml:"no_load_rpm"`     // of the shaft
	StallTorqueNM float64 `toml:"stall_torque_nm"` // at the shaft
	InertiaKGM2   float64 `toml:"inertia_kgm2"`    // motor, gearbox, shaft, drive wheels, at the shaft
	FrictionNM    float64 `toml:"friction_nm"`     // Coulomb
	ViscousNMS    float64 `toml:"viscous_nms"`     // torque per rad/s
	BrakeFraction float64 `toml:"brake_fraction"`  // of the motor's own braking that acts when off: 0 open, 1 shorted
	WanderRMS     float64 `toml:"wander_rms"`      // slow wander of the no-load speed, fraction of it
	WanderSeconds float64 `toml:"wander_seconds"`  // its correlation time
	Reversible    bool    `toml:"reversible"`      // SetDrive(-1) works; otherwise it means off
}

// Axis is one servo, one variator and one output.
type Axis struct {
	Name     string   `toml:"name"`
	Servo    Servo    `toml:"servo"`
	Variator Variator `toml:"variator"`
	Output   Output   `toml:"output"`
}

// Servo is a hobby servo and the linkage from its horn to the trunnion.
//
// With x the turn of the servo shaft from its centre, the horn stands at
// x + HornOffset and the tilt is
//
//	asin(LinkRatio (sin(x + HornOffset + HornSlip) - sin HornOffset)) + TrunnionOffset,
//
// the form of a long push rod between two cranks; LinkRatio is the length of
// the horn over that of the trunnion's crank.
type Servo struct {
	CentreMicros          float64 `toml:"centre_micros"`           // pulse at which the shaft stands at its centre
	DegreesPerMicro       float64 `toml:"degrees_per_micro"`       // of the shaft, signed
	DeadZoneMicros        float64 `toml:"dead_zone_micros"`        // full width within which the servo does not answer
	SlewDegreesPerSecond  float64 `toml:"slew_degrees_per_second"` // highest speed of the shaft
	GainPerSecond         float64 `toml:"gain_per_second"`         // speed asked per angle left
	LagSeconds            float64 `toml:"lag_seconds"`             // first-order lag of the speed
	LinkRatio             float64 `toml:"link_ratio"`              // horn over crank
	HornOffsetDegrees     float64 `toml:"horn_offset_degrees"`     // horn at the centre, from square to the rod
	HornSlipDegrees       float64 `toml:"horn_slip_degrees"`       // by which the horn has slipped on the shaft
	TrunnionOffsetDegrees float64 `toml:"trunnion_offset_degrees"` // tilt at the centre
	PlayDegrees           float64 `toml:"play_degrees"`            // of the linkage, at the trunnion, full width
	LeastTiltDegrees      float64 `toml:"least_tilt_degrees"`      // mechanical stop, negative
	MostTiltDegrees       float64 `toml:"most_tilt_degrees"`       // mechanical stop, positive
	DriftMicros           float64 `toml:"drift_micros"`            // shift of the centre when warm
	DriftSeconds          float64 `toml:"drift_seconds"`           // time constant of warming, while pulses come
	RepeatMicros          float64 `toml:"repeat_micros"`           // standard deviation of where it comes to rest, drawn at each change of pulse
	StickMicros           float64 `toml:"stick_micros"`            // beyond its dead zone, what it takes to leave rest
	SmallestMoveMicros    float64 `toml:"smallest_move_micros"`    // it moves by this or more in a frame of its own, or not at all; beyond the dead zone it hunts
	StartMicros           float64 `toml:"start_micros"`            // where the shaft stands at the beginning; 0 is its centre
	LeastMicros           float64 `toml:"least_micros"`            // shorter pulses count as this one; 0 is no limit
	MostMicros            float64 `toml:"most_micros"`             // longer pulses count as this one; 0 is no limit
}

// Variator is a ball between a drive wheel and an output wheel. At tilt zero
// the output wheel touches the ball at its pole; the drive wheel touches it 90
// degrees plus ContactErrorDegrees away.
type Variator struct {
	DriveRadiusMM       float64 `toml:"drive_radius_mm"`
	BallRadiusMM        float64 `toml:"ball_radius_mm"`
	OutputRadiusMM      float64 `toml:"output_radius_mm"`
	ContactErrorDegrees float64 `toml:"contact_error_degrees"`
	SideAsymmetry       float64 `toml:"side_asymmetry"`    // the ball is larger by this fraction where it serves positive tilt, smaller where negative
	BallInertiaKGM2     float64 `toml:"ball_inertia_kgm2"` // about its spin axis
	BallDragNMS         float64 `toml:"ball_drag_nms"`     // of its bearings, torque per rad/s
	Friction            float64 `toml:"friction"`          // coefficient in both contacts
	InputNormalN        float64 `toml:"input_normal_n"`    // force that presses the drive wheel on
	OutputNormalN       float64 `toml:"output_normal_n"`   // force that presses the output wheel on
	PatchMM             float64 `toml:"patch_mm"`          // radius of the contact patch
	BareCapMM           float64 `toml:"bare_cap_mm"`       // radius of the cap about the pole that carries nothing
	ElasticCreep        float64 `toml:"elastic_creep"`     // slip over rolling speed at which elastic creep alone would take all the traction
	DriveRunout         Runout  `toml:"drive_runout"`      // of the drive wheel
	BallRunout          Runout  `toml:"ball_runout"`       // of the ball where the output wheel runs
	OutputRunout        Runout  `toml:"output_runout"`     // of the output wheel
	Loss                Loss    `toml:"loss"`              // contact loss at the output wheel
}

// Runout is the ripple of a contact radius in a turn, as fractions of it.
type Runout struct {
	Once        float64    `toml:"once"`
	Twice       float64    `toml:"twice"`
	Thrice      float64    `toml:"thrice"`
	PhasesTurns [3]float64 `toml:"phases_turns"` // where each ripple is highest, turns
}

// Loss is a part of the ball's turn in which the output contact is pressed
// less.
type Loss struct {
	Depth      float64 `toml:"depth"`       // fraction of the pressing force that is lost in the middle, 0 to 1
	StartTurns float64 `toml:"start_turns"` // of the ball's turn
	WidthTurns float64 `toml:"width_turns"`
}

// Output is the output wheel, the worm it turns, and the running clearance
// behind it. LeadDegrees zero means that there is no worm: the joint is turned
// directly and nothing but FrictionNM holds it.
type Output struct {
	InertiaKGM2           float64 `toml:"inertia_kgm2"` // wheel, shaft and worm
	FrictionNM            float64 `toml:"friction_nm"`  // Coulomb, sliding
	Stiction              float64 `toml:"stiction"`     // static over sliding friction, of bearings and worm; 0 means 1
	StribeckRPM           float64 `toml:"stribeck_rpm"` // speed at which half of the static excess is left
	ViscousNMS            float64 `toml:"viscous_nms"`  // torque per rad/s
	LeadDegrees           float64 `toml:"lead_degrees"` // lead angle of the worm
	PressureAngleDegrees  float64 `toml:"pressure_angle_degrees"`
	WormFriction          float64 `toml:"worm_friction"`             // sliding coefficient
	MeshStiffnessNMPerRad float64 `toml:"mesh_stiffness_nm_per_rad"` // at the output wheel
	MeshDampingNMS        float64 `toml:"mesh_damping_nms"`          // at the output wheel, torque per rad/s
	LostMotionTurns       float64 `toml:"lost_motion_turns"`         // free turn of the output wheel on reversal
}

// Joint is what moves usefully. Joints are a matrix times outputs; each joint
// holds its row. A travelling joint ("mm") uses the fields in kg and N, a
// turning one ("deg") those in kg m2 and N m.
type Joint struct {
	Name          string    `toml:"name"`
	Unit          string    `toml:"unit"`            // "mm" or "deg"
	PerOutputTurn []float64 `toml:"per_output_turn"` // the joint's unit per turn of each output
	Start         float64   `toml:"start"`           // in the joint's unit
	Endless       bool      `toml:"endless"`
	Low           float64   `toml:"low"`  // end stop, in the joint's unit
	High          float64   `toml:"high"` // end stop, in the joint's unit

	MassKG            float64 `toml:"mass_kg"`
	WeightN           float64 `toml:"weight_n"` // pulls towards lower values
	FrictionN         float64 `toml:"friction_n"`
	ViscousNSPerM     float64 `toml:"viscous_ns_per_m"`
	StopNPerMM        float64 `toml:"stop_n_per_mm"`
	StopDampingNSPerM float64 `toml:"stop_damping_ns_per_m"`

	InertiaKGM2     float64 `toml:"inertia_kgm2"`
	WeightNM        float64 `toml:"weight_nm"` // turns towards lower values
	FrictionNM      float64 `toml:"friction_nm"`
	ViscousNMS      float64 `toml:"viscous_nms"`
	StopNMPerDegree float64 `toml:"stop_nm_per_degree"`
	StopDampingNMS  float64 `toml:"stop_damping_nms"`
}

// Kinds of counters.
const (
	Incremental = "incremental" // counts both ways
	Absolute    = "absolute"    // position within a turn, wraps
	Mark        = "mark"        // one count a turn, no direction
)

// Places a counter can watch.
const (
	OnShaft  = "shaft"
	OnOutput = "output"
	OnJoint  = "joint"
)

// Counter is a sensor.
type Counter struct {
	Name           string  `toml:"name"`
	Kind           string  `toml:"kind"`            // incremental, absolute or mark
	On             string  `toml:"on"`              // shaft, output or joint
	Of             int     `toml:"of"`              // which output or joint, from 0
	CountsPerTurn  float64 `toml:"counts_per_turn"` // quadrature counts; for a joint per turn, or per mm where it travels
	Reversed       bool    `toml:"reversed"`
	MissedFraction float64 `toml:"missed_fraction"`  // of the edges
	JitterMicros   float64 `toml:"jitter_micros"`    // standard deviation of the time an edge is given
	FalsePerSecond float64 `toml:"false_per_second"` // edges that nothing made, picked up from elsewhere; either way where the kind counts both ways
	NoiseCounts    float64 `toml:"noise_counts"`     // of an absolute reading, standard deviation, anew each step
	WobbleCounts   float64 `toml:"wobble_counts"`    // once-a-turn error of an eccentric disc, amplitude
	PhaseTurns     float64 `toml:"phase_turns"`      // where the mark or the absolute zero lies
}

// clone returns a copy that shares nothing with m.
func (m Machine) clone() Machine {
	m.Axes = slices.Clone(m.Axes)
	m.Counters = slices.Clone(m.Counters)
	m.Joints = slices.Clone(m.Joints)
	for j := range m.Joints {
		m.Joints[j].PerOutputTurn = slices.Clone(m.Joints[j].PerOutputTurn)
	}
	return m
}

// toJoint is the matrix from outputs (rad) to joints (m or rad).
func (m Machine) toJoint() [][]float64 {
	rows := make([][]float64, len(m.Joints))
	for j, joint := range m.Joints {
		scale := degree
		if joint.Unit == "mm" {
			scale = 1e-3
		}
		rows[j] = make([]float64, len(joint.PerOutputTurn))
		for i, per := range joint.PerOutputTurn {
			rows[j][i] = per * scale / turn
		}
	}
	return rows
}
