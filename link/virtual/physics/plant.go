package physics

import "math"

// Plant is a machine in motion.
type Plant struct {
	machine Machine // own copy; faults change it
	drive   drive
	axes    []axis
	joints  []joint
	sensors []sensor
	toJoint [][]float64 // joint SI per output rad
	toShaft [][]float64 // its inverse: output rad per joint SI

	now      int64 // us
	step     int64 // us
	faults   []Fault
	energy   Energy
	unsolved int64 // steps whose friction did not settle

	oldBall, oldOutput []float64
}

// New builds the plant at rest, drive off, no pulses, servos where StartMicros
// says. Everything random in it follows from seed. The error is a
// *ParameterError.
func New(m Machine, seed uint64) (*Plant, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	n := len(m.Axes)
	p := &Plant{
		machine: m.clone(), step: m.StepMicros,
		axes: make([]axis, n), joints: make([]joint, n), sensors: make([]sensor, len(m.Counters)),
		oldBall: make([]float64, n), oldOutput: make([]float64, n),
	}
	if p.step == 0 {
		p.step = DefaultStepMicros
	}
	p.drive.wander.chance = newChance(seed, 0x77616e646572)
	for i := range p.axes {
		p.axes[i].servo.chance = newChance(seed, 0x736572766f+uint64(i))
	}
	for i := range p.sensors {
		p.sensors[i].chance = newChance(seed, 0x73656e736f72+uint64(i))
	}
	p.configure()
	p.place()
	return p, nil
}

// configure makes the parameters ready without touching the state.
func (p *Plant) configure() {
	m := &p.machine
	p.drive.configure(m.Drive)
	for i := range p.axes {
		p.axes[i].configure(m.Axes[i])
		p.joints[i].configure(m.Joints[i])
	}
	p.toJoint = m.toJoint()
	p.toShaft, _ = inverse(p.toJoint) // Validate has seen that there is one
	for i, c := range m.Counters {
		unit := ""
		if c.On == OnJoint {
			unit = m.Joints[c.Of].Unit
		}
		p.sensors[i].configure(c, unit)
	}
}

// place puts everything where it starts, the meshes in the middle of their
// lost motion.
func (p *Plant) place() {
	for j := range p.joints {
		p.joints[j].position = p.machine.Joints[j].Start * p.joints[j].scale
	}
	for i := range p.axes {
		a, start := &p.axes[i], p.machine.Axes[i].Servo.StartMicros
		if start == 0 {
			start = a.servo.centre
		}
		a.servo.place(start)
		a.outputAngle, _ = p.behind(i)
	}
	for i := range p.sensors {
		p.sensors[i].start(p.watched(&p.sensors[i]))
	}
}

// Now is the plant's time in microseconds.
func (p *Plant) Now() int64 { return p.now }

// SetPulse gives the servo of an axis a pulse from now on; 0 is no pulse: the
// servo is not driven and stays where it is.
func (p *Plant) SetPulse(axis int, micros float64) { p.axes[axis].servo.heed(max(micros, 0)) }

// SetDrive switches the motor: 0 off, 1 forward, -1 reverse. A drive that is
// not reversible takes -1 as off.
func (p *Plant) SetDrive(direction int) {
	switch {
	case direction > 0:
		p.drive.direction = 1
	case direction < 0 && p.drive.reversible:
		p.drive.direction = -1
	default:
		p.drive.direction = 0
	}
}

// Counter returns the count of a sensor and the time in microseconds of its
// last edge, 0 where there was none yet.
func (p *Plant) Counter(i int) (count int64, lastEdgeMicros int64) {
	return p.sensors[i].reading(), p.sensors[i].last
}

// Advance integrates by so many microseconds. Steps end on whole multiples of
// the step and at the time asked; so calls that end on multiples give the same
// result however the time is cut up.
func (p *Plant) Advance(micros int64) {
	for end := p.now + micros; p.now < end; {
		h := min(p.step-p.now%p.step, end-p.now)
		if len(p.faults) > 0 {
			h = min(h, p.applyFaults())
		}
		p.integrate(h)
	}
}

// integrate makes one step of so many microseconds.
func (p *Plant) integrate(micros int64) {
	h := float64(micros) * 1e-6
	p.drive.wander.step(h)
	for i := range p.axes {
		a := &p.axes[i]
		a.servo.step(h)
		a.prepare(p.drive.angle)
		behind, behindSpeed := p.behind(i)
		a.loads(a.outputAngle-behind, a.outputSpeed-behindSpeed)
	}
	p.solveSpeeds(h)
	p.solveJoints(h)
	p.account(h)

	p.drive.angle += h * p.drive.speed
	for i := range p.axes {
		p.axes[i].ballAngle += h * p.axes[i].ballSpeed
		p.axes[i].outputAngle += h * p.axes[i].outputSpeed
		p.joints[i].position += h * p.joints[i].speed
	}
	from := float64(p.now)
	p.now += micros
	for i := range p.sensors {
		p.sensors[i].pass(p.watched(&p.sensors[i]), from, float64(micros))
	}
}

// mostPasses bounds the search for sliding and sticking within a step; a step
// in steady running needs one, the start of a heavy output up to some 20.
const mostPasses = 40

// solveSpeeds finds shaft, ball and output speeds at the end of the step.
func (p *Plant) solveSpeeds(h float64) {
	d := &p.drive
	for i := range p.axes {
		p.oldBall[i], p.oldOutput[i] = p.axes[i].ballSpeed, p.axes[i].outputSpeed
	}
	before := d.speed
	atRest, fall := d.line()
	for pass := 0; ; pass++ {
		resistance := d.inertia/h + d.viscous + fall
		torque := d.inertia/h*before + atRest
		for i := range p.axes {
			p.axes[i].contacts()
			r, t := p.axes[i].eliminate(h, p.oldBall[i], p.oldOutput[i])
			resistance += r
			torque += t
		}
		d.held = min(max(torque, -d.friction), d.friction)
		d.speed = (torque - d.held) / resistance
		d.motor = atRest - fall*d.speed
		agreed := true
		for i := range p.axes {
			agreed = p.axes[i].resolve(h, d.speed, p.oldOutput[i]) && agreed
		}
		if agreed {
			return
		}
		if pass == mostPasses {
			p.unsolved++
			return
		}
	}
}

// solveJoints hands the meshes' torque on to the joints.
func (p *Plant) solveJoints(h float64) {
	for j := range p.joints {
		p.joints[j].force = 0
	}
	for i := range p.axes {
		a := &p.axes[i]
		a.jointSide = a.mesh - math.Abs(a.mesh)*a.share*a.wormOnJoint
		for j := range p.joints {
			p.joints[j].force += p.toShaft[i][j] * a.jointSide
		}
	}
	for j := range p.joints {
		p.joints[j].solve(h)
	}
}

// behind is where the joint's side of an output's mesh stands and how fast it
// turns, in rad of the output.
func (p *Plant) behind(i int) (angle, speed float64) {
	for j := range p.joints {
		angle += p.toShaft[i][j] * p.joints[j].position
		speed += p.toShaft[i][j] * p.joints[j].speed
	}
	return angle, speed
}

// watched is what a sensor looks at: turns, or a joint's own unit.
func (p *Plant) watched(s *sensor) float64 {
	switch s.on {
	case OnShaft:
		return p.drive.angle / (2 * math.Pi)
	case OnOutput:
		return p.axes[s.of].outputAngle / (2 * math.Pi)
	}
	return p.joints[s.of].position / p.joints[s.of].scale
}
