package rig

import (
	"fmt"
	"strings"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// parts are the pieces of a description while it is read, and whether those that the joints' arithmetic needs, names,
// rows and sensors, are sound so far.
type parts struct {
	top    *fields
	axes   []*fields
	joints []*fields
	sound  bool
}

// need notes that a piece the joints' arithmetic rests on came out right or not.
func (p *parts) need(ok bool) { p.sound = p.sound && ok }

func (p *parts) readAxes(r *Rig) {
	p.axes = p.top.tables("axis")
	p.need(len(p.axes) > 0)
	if p.top.has("axis") && p.axes != nil && len(p.axes) == 0 {
		p.top.wrong("axis", "is an empty list", "write [[axis]] once for each variator")
	}
	if len(p.axes) > bench.MaxAxes {
		p.axes[bench.MaxAxes].add(p.axes[bench.MaxAxes].where, "axis",
			fmt.Sprintf("there are %d axes, and a controller has at most %d", len(p.axes), bench.MaxAxes), "split the rig over two controllers")
		p.sound = false
	}
	for _, t := range p.axes {
		r.Axes = append(r.Axes, p.readAxis(t))
	}
	p.distinctNames(p.axes, func(i int) string { return r.Axes[i].Name }, "axis")
	servos := map[int]string{}
	for i, t := range p.axes {
		a := r.Axes[i]
		if other, taken := servos[a.Servo]; taken && t.has("servo") {
			t.wrong("servo", fmt.Sprintf("%d is already the servo of %q", a.Servo, other), "write the controller's axis number that this servo is wired to")
		} else if t.has("servo") {
			servos[a.Servo] = a.Name
		}
	}
}

func (p *parts) readAxis(t *fields) Axis {
	var a Axis
	var ok bool
	a.Name, ok = t.label("name", longestName)
	p.need(ok)
	a.Servo, _ = t.whole("servo")
	a.Worm, _ = t.truth("worm")
	if pulse, _ := t.table("pulse"); pulse != nil {
		a.Pulse = readPulse(pulse)
	}
	sensor, ok := t.table("sensor")
	p.need(ok)
	if sensor != nil {
		s, ok := readSensor(sensor)
		a.Sensor = &s
		p.need(ok)
	}
	variator, _ := t.table("variator")
	a.Variator = readVariator(variator)
	t.refuseOthers()
	return a
}

func readPulse(t *fields) Pulse {
	least, okLeast := t.number("least_us")
	most, okMost := t.number("most_us")
	middle, okMiddle := t.number("middle_us")
	slew, _ := t.number("slew_us_per_s")
	switch {
	case !okLeast || !okMost:
	case least >= most:
		t.wrong("least_us", plain(least)+" is not below most_us, which is "+plain(most), "write the shortest pulse as least_us and the longest as most_us")
	case okMiddle && (middle <= least || middle >= most):
		what := plain(middle)
		if !t.has("middle_us") {
			what = "is left out and so " + what + ", which"
		}
		t.wrong("middle_us", what+" is not between least_us "+plain(least)+" and most_us "+plain(most), "write the pulse at which the servo was assembled, or widen the limits")
	}
	t.refuseOthers()
	return Pulse{units.Pulse(least), units.Pulse(most), units.Pulse(middle), units.Pulse(slew)}
}

// readVariator reads [axis.variator]; nil is a variator of which nothing is known.
func readVariator(t *fields) Variator {
	if t == nil {
		return Variator{Contacts: Unknown}
	}
	v := Variator{Contacts: Unknown}
	if contacts, _ := t.word("contacts"); contacts != "" {
		v.Contacts = Contacts(contacts)
	}
	v.DriveWheelMM, _ = t.number("drive_wheel_mm")
	v.OutputWheelMM, _ = t.number("output_wheel_mm")
	v.WheelTolerancePercent, _ = t.number("wheel_tolerance_percent")
	v.DegreesPerMicrosecond, _ = t.number("degrees_per_us")
	drive, output := t.has("drive_wheel_mm"), t.has("output_wheel_mm")
	switch {
	case drive != output:
		missing := map[bool]string{true: "output_wheel_mm", false: "drive_wheel_mm"}[drive]
		t.wrong(missing, "is missing, and the other wheel is given", "add "+missing+", or leave both out")
	case !drive && t.has("wheel_tolerance_percent"):
		t.wrong("wheel_tolerance_percent", "is given, and no wheel is", "add drive_wheel_mm and output_wheel_mm, or take it out")
	case !drive:
		v.WheelTolerancePercent = 0
	}
	t.refuseOthers()
	return v
}

// distinctNames reports every name that an earlier one of the list has, capitals or not.
func (p *parts) distinctNames(list []*fields, name func(int) string, of string) {
	taken := map[string]bool{}
	for i, t := range list {
		n := strings.ToLower(name(i))
		if n != "" && taken[n] {
			t.wrong("name", fmt.Sprintf("%q is already the name of another %s", name(i), of), "give each "+of+" a name of its own")
			p.sound = false
		}
		taken[n] = true
	}
}
