package physics

// Energy is the account of work since the beginning, in joules. Work put in by
// the motor is stored or lost; what the account leaves open is the error of
// integration.
type Energy struct {
	Motor float64 // work of the motor on the shaft, negative while it brakes

	ShaftLoss   float64 // bearings of the drive shaft
	InputCreep  float64 // slip between drive wheels and balls
	OutputCreep float64 // slip between balls and output wheels
	Spin        float64 // spin in the contact patches and ball bearings
	OutputLoss  float64 // friction of output wheels and worms
	MeshLoss    float64 // damping of the meshes
	JointLoss   float64 // friction of the joints and damping of their stops

	Kinetic float64 // now
	Sprung  float64 // in meshes and end stops, now
	Raised  float64 // work done against weights
}

// Lost is all that was turned into heat.
func (e Energy) Lost() float64 {
	return e.ShaftLoss + e.InputCreep + e.OutputCreep + e.Spin + e.OutputLoss + e.MeshLoss + e.JointLoss
}

// Stored is all that could be had back.
func (e Energy) Stored() float64 { return e.Kinetic + e.Sprung + e.Raised }

// Open is what the account leaves open: in less lost less stored.
func (e Energy) Open() float64 { return e.Motor - e.Lost() - e.Stored() }

// account books a step whose new speeds and old positions are known.
func (p *Plant) account(h float64) {
	e, d := &p.energy, &p.drive
	e.Motor += h * d.motor * d.speed
	e.ShaftLoss += h * (d.held + d.viscous*d.speed) * d.speed
	for i := range p.axes {
		a := &p.axes[i]
		e.InputCreep += h * a.inputDamping * a.inputSlip * a.inputSlip
		e.OutputCreep += h * a.outputDamping * a.outputSlip * a.outputSlip
		e.Spin += h * (a.ballDrag + a.spinDrag) * a.ballSpeed * a.ballSpeed
		// The worm's friction takes from both sides of the mesh.
		e.OutputLoss += h * (a.share*a.grip + a.viscous*a.outputSpeed) * a.outputSpeed
		_, behind := p.behind(i)
		e.OutputLoss += h * (a.mesh - a.jointSide) * behind
		e.MeshLoss += h * (a.mesh - a.sprung) * (a.outputSpeed - behind)
	}
	for i := range p.joints {
		j := &p.joints[i]
		e.JointLoss += h * (j.held + j.viscous*j.speed + j.sprung() - j.atStop) * j.speed
		e.Raised += h * j.weight * j.speed
	}
}

// Energy returns the account up to now.
func (p *Plant) Energy() Energy {
	e := p.energy
	e.Kinetic = p.drive.inertia * p.drive.speed * p.drive.speed / 2
	for i := range p.axes {
		a, j := &p.axes[i], &p.joints[i]
		e.Kinetic += a.ballInertia*a.ballSpeed*a.ballSpeed/2 + a.inertia*a.outputSpeed*a.outputSpeed/2 + j.inertia*j.speed*j.speed/2
		behind, _ := p.behind(i)
		if press := a.press(a.outputAngle - behind); press != 0 {
			e.Sprung += a.stiffness * press * press / 2
		}
		if f := j.sprung(); f != 0 {
			e.Sprung += f * f / (2 * j.stop)
		}
	}
	return e
}
