package physics

import "math"

// The accessors here tell the truth; they are for tests and pictures.

const turn = 2 * math.Pi

// ShaftTurns is how far the drive shaft has turned since the beginning.
func (p *Plant) ShaftTurns() float64 { return p.drive.angle / turn }

// ShaftSpeed is the drive shaft's speed in turns per second.
func (p *Plant) ShaftSpeed() float64 { return p.drive.speed / turn }

// Tilt is the angle of an axis's ball from its pole position, in degrees.
func (p *Plant) Tilt(axis int) float64 { return p.axes[axis].servo.tilt / degree }

// ServoPulse is the pulse that would belong to where a servo stands now, in
// microseconds, and whether it is at a mechanical stop.
func (p *Plant) ServoPulse(axis int) (micros float64, atStop bool) {
	s := &p.axes[axis].servo
	return s.centre + s.drift*s.warmth + s.angle/s.radPerMicro, s.atStop
}

// BallSpeed is a ball's speed about its spin axis in turns per second.
func (p *Plant) BallSpeed(axis int) float64 { return p.axes[axis].ballSpeed / turn }

// OutputTurns is how far an output wheel has turned, with the joint's start
// counted in.
func (p *Plant) OutputTurns(axis int) float64 { return p.axes[axis].outputAngle / turn }

// OutputSpeed is an output wheel's speed in turns per second.
func (p *Plant) OutputSpeed(axis int) float64 { return p.axes[axis].outputSpeed / turn }

// Stuck reports whether dry friction holds an output.
func (p *Plant) Stuck(axis int) bool { return p.axes[axis].mode == stuck }

// JointPosition is where a joint stands, in its unit.
func (p *Plant) JointPosition(j int) float64 { return p.joints[j].position / p.joints[j].scale }

// JointSpeed is a joint's speed in its unit per second.
func (p *Plant) JointSpeed(j int) float64 { return p.joints[j].speed / p.joints[j].scale }

// Forces are the forces of one axis in the last step.
type Forces struct {
	InputTractionN  float64 // drive wheel on ball
	OutputTractionN float64 // ball on output wheel
	InputSlip       float64 // m/s
	OutputSlip      float64 // m/s
	Carried         float64 // share of the output contact's load that the patch carries
	FrictionNM      float64 // dry friction in use at the output, worm included
	GripNM          float64 // dry friction to be had there
	MeshNM          float64 // torque in the mesh, at the output, friction aside
	JointSideNM     float64 // what is left of it for the joint, at the output
}

// Forces returns the forces of an axis in the last step.
func (p *Plant) Forces(axis int) Forces {
	a := &p.axes[axis]
	return Forces{
		InputTractionN: a.inputDamping * a.inputSlip, OutputTractionN: a.outputDamping * a.outputSlip,
		InputSlip: a.inputSlip, OutputSlip: a.outputSlip, Carried: a.carried,
		FrictionNM: a.share * a.grip, GripNM: a.grip, MeshNM: a.mesh, JointSideNM: a.jointSide,
	}
}

// MotorTorque is the motor's torque in the last step, N m.
func (p *Plant) MotorTorque() float64 { return p.drive.motor }

// Clone returns an independent copy of the plant in its present state; it goes
// on as the original would.
func (p *Plant) Clone() *Plant {
	c := *p
	c.machine = p.machine.clone()
	c.drive.wander.chance = p.drive.wander.chance.clone()
	c.axes = append([]axis(nil), p.axes...)
	for i := range c.axes {
		c.axes[i].servo.chance = p.axes[i].servo.chance.clone()
	}
	c.joints = append([]joint(nil), p.joints...)
	c.faults = append([]Fault(nil), p.faults...)
	c.oldBall = make([]float64, len(p.axes))
	c.oldOutput = make([]float64, len(p.axes))
	c.sensors = make([]sensor, len(p.sensors))
	for i := range p.sensors {
		c.sensors[i] = p.sensors[i]
		c.sensors[i].chance = p.sensors[i].chance.clone()
	}
	c.configure()
	return &c
}
