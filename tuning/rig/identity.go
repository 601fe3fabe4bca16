package rig

import (
	"fmt"
	"math"

	"trunnion/tuning/bench"
)

// Check compares the description with what the controller says of itself. The error, if any, is an *Errors without
// places in a text; each says what to change, in the description or at the controller.
func Check(r Rig, id bench.Identity) error {
	c := comparison{id: id}
	c.drive(r.Drive)
	c.sensor("drive.sensor", "the drive shaft", r.Drive.Sensor, r.edgesPerSecond(r.Drive.Sensor, 1))
	for i, a := range r.Axes {
		c.axis(a)
		if a.Sensor != nil {
			c.sensor("axis.sensor", fmt.Sprintf("axis %q", a.Name), *a.Sensor, r.axisEdges(i))
		}
	}
	for j, joint := range r.Joints {
		if joint.Sensor != nil {
			c.sensor("joint.sensor", fmt.Sprintf("joint %q", joint.Name), *joint.Sensor, r.jointEdges(j))
		}
	}
	return orNil(c.found)
}

// edgesPerSecond is the edge rate of a sensor whose shaft makes so many turns for one of the drive shaft.
func (r Rig) edgesPerSecond(s Sensor, turns float64) float64 {
	return r.Drive.NominalRPM.PerSecond() * turns * float64(s.CountsPerTurn)
}

// axisEdges is the edge rate at an output wheel at the largest ratio; 0 without a sensor.
func (r Rig) axisEdges(axis int) float64 {
	a := r.Axes[axis]
	if a.Sensor == nil {
		return 0
	}
	return r.edgesPerSecond(*a.Sensor, float64(a.LargestRatio()))
}

// jointEdges is the edge rate at a joint with every output at its largest ratio; 0 without a sensor.
func (r Rig) jointEdges(joint int) float64 {
	j := r.Joints[joint]
	if j.Sensor == nil {
		return 0
	}
	perTurn := 0.0 // units for a turn of the drive shaft
	for i, a := range r.Axes {
		perTurn += math.Abs(j.PerTurn[i]) * float64(a.LargestRatio())
	}
	return r.Drive.NominalRPM.PerSecond() * perTurn * math.Abs(j.Sensor.CountsPerUnit)
}

// comparison gathers where description and controller disagree.
type comparison struct {
	id    bench.Identity
	found []Error
}

func (c *comparison) add(key, what, remedy string) {
	c.found = append(c.found, Error{Key: key, What: what, Remedy: remedy})
}

func (c *comparison) drive(d Drive) {
	if d.Reversible && !c.id.Reversible {
		c.add("drive.reversible", "is true, and the controller cannot reverse the motor", "write reversible = false, or set the controller up for it")
	}
	if d.Selector && !c.id.Selector {
		c.add("drive.selector", "is true, and the controller has no selector", "write selector = false, or set the controller up for it")
	}
	if !d.Selector && c.id.Selector {
		c.add("drive.selector", "is false, and the controller has a selector", "write selector = true and changeover_s")
	}
}

func (c *comparison) axis(a Axis) {
	if a.Servo >= c.id.Axes {
		c.add("axis.servo", fmt.Sprintf("axis %q is on servo %d, and the controller has %d, numbered from 0", a.Name, a.Servo, c.id.Axes),
			"write the number of the servo output that it is wired to, or use a controller with more axes")
	}
	if a.Pulse.Least < c.id.PulseLeast {
		c.add("axis.pulse.least_us", fmt.Sprintf("axis %q goes down to %v, and the controller to %v", a.Name, a.Pulse.Least, c.id.PulseLeast),
			fmt.Sprintf("write least_us = %s or more", plain(float64(c.id.PulseLeast))))
	}
	if a.Pulse.Most > c.id.PulseMost {
		c.add("axis.pulse.most_us", fmt.Sprintf("axis %q goes up to %v, and the controller to %v", a.Name, a.Pulse.Most, c.id.PulseMost),
			fmt.Sprintf("write most_us = %s or less", plain(float64(c.id.PulseMost))))
	}
}

func (c *comparison) sensor(key, owner string, s Sensor, edges float64) {
	if s.Counter >= len(c.id.Counters) {
		c.add(key+".counter", fmt.Sprintf("%s is on counter %d, and the controller has %d, numbered from 0", owner, s.Counter, len(c.id.Counters)),
			"write the number of the input that the sensor is wired to, or use a controller with more counters")
		return
	}
	has := c.id.Counters[s.Counter]
	if s.Kind != has.Kind {
		c.add(key+".kind", fmt.Sprintf("%s has a sensor of kind %q, and the controller takes counter %d for %q", owner, s.Kind, s.Counter, has.Kind),
			"see which counter the sensor is wired to, and correct the description or the controller's set-up")
	}
	if s.CountsPerTurn != 0 && has.CountsPerTurn != 0 && s.CountsPerTurn != has.CountsPerTurn {
		c.add(key+".counts_per_turn", fmt.Sprintf("%s has %d, and the controller says %d for counter %d", owner, s.CountsPerTurn, has.CountsPerTurn, s.Counter),
			"turn the shaft once by hand and count; four times the lines where every edge is counted; correct the side that is wrong")
	}
	if has.MostEdgeRate > 0 && edges > float64(has.MostEdgeRate) {
		c.add(key+".counts_per_turn", fmt.Sprintf("%s may make %.0f edges a second at the largest ratio, and counter %d takes %d", owner, edges, s.Counter, has.MostEdgeRate),
			"run the drive slower, use a sensor with fewer counts, or say more of the build in [axis.variator] if the ratio cannot be so large")
	}
}
