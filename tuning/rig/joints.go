package rig

import (
	"maps"
	"math"
	"slices"
)

func (p *parts) readJoints(r *Rig) {
	p.joints = p.top.tables("joint")
	p.need(p.joints != nil)
	for _, t := range p.joints {
		r.Joints = append(r.Joints, p.readJoint(t, r.Axes))
	}
	p.distinctNames(p.joints, func(i int) string { return r.Joints[i].Name }, "joint")
}

func (p *parts) readJoint(t *fields, axes []Axis) Joint {
	var j Joint
	var ok bool
	j.Name, ok = t.label("name", longestName)
	p.need(ok)
	unit, ok := t.word("unit")
	p.need(ok)
	j.Unit = Unit(unit)
	row, ok := t.table("per_turn")
	p.need(ok)
	if row != nil {
		j.PerTurn = p.readRow(row, axes)
	}
	readTravel(t, &j)
	j.CarriesWeight, _ = t.truth("carries_weight")
	j.Tolerance, _ = t.number("tolerance")
	sensor, ok := t.table("sensor")
	p.need(ok)
	if sensor != nil {
		s, ok := readJointSensor(sensor, j.Unit)
		j.Sensor = &s
		p.need(ok)
	}
	t.refuseOthers()
	return j
}

// readRow reads a row of the joints' matrix. Its keys are the names of axes, so no list of keys knows them.
func (p *parts) readRow(t *fields, axes []Axis) []float64 {
	row := make([]float64, len(axes))
	names := make([]string, len(axes))
	for i := range axes {
		names[i] = axes[i].Name
	}
	moves, good := false, true
	for _, key := range slices.Sorted(maps.Keys(t.values)) {
		axis := slices.Index(names, key)
		if axis < 0 {
			noSuchAxis(t, key, names)
			good = false
			continue
		}
		v, ok := movement(t, key)
		row[axis] = v
		moves, good = moves || v != 0, good && ok
	}
	if good && !moves {
		t.add(t.where, t.name, "names no axis that moves the joint", "write the joint's movement for an output turn, such as { "+tomlKey(first(names))+" = 4.0 }")
		good = false
	}
	p.need(good)
	return row
}

// movement reads one number of a row.
func movement(t *fields, key string) (float64, bool) {
	if !fits(number, t.values[key]) {
		t.wrong(key, "is "+formOf(t.values[key])+", and a number is wanted", "write the joint's movement for one turn of this output, such as 4.0")
		return 0, false
	}
	v := asFloat(t.values[key])
	if math.IsNaN(v) || math.Abs(v) > mostLength || v != 0 && math.Abs(v) < leastLength {
		t.wrong(key, plain(v)+" cannot be a joint's movement for one turn", "write it in the joint's unit, negative where forward takes the joint down, such as 4.0")
		return 0, false
	}
	return v, true
}

// noSuchAxis reports a name that no axis has, unless the name of an axis is itself wrong: then nobody can tell.
func noSuchAxis(t *fields, key string, names []string) {
	if len(names) == 0 || slices.Contains(names, "") {
		return
	}
	remedy := "write one of the axes' names: " + quoted(names)
	if near := nearest(key, names); near != "" {
		remedy = "write " + tomlKey(near) + " if that is meant; the axes are " + quoted(names)
	}
	t.wrong(key, "is not the name of an axis", remedy)
}

func first(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return names[0]
}

// readTravel reads where the joint may go: either without end, or travel with its datum and what is free at the start.
func readTravel(t *fields, j *Joint) {
	var okEndless bool
	j.Endless, okEndless = t.truth("endless")
	travel, okTravel := t.table("travel")
	j.Datum, _ = t.label("datum", longestDatum)
	free, okFree := t.number("free_at_start")
	j.FreeAtStart = free
	switch {
	case j.Endless:
		for _, key := range []string{"travel", "datum", "free_at_start"} {
			if t.has(key) {
				t.wrong(key, "is given, and the joint is endless", "take it out, or take endless out")
			}
		}
		return
	case !okTravel || !okEndless:
		return
	case travel == nil:
		t.wrong("travel", "is missing", "add "+written(keyNamed("joint.travel"), "travel")+", from the datum, or endless = true")
		return
	}
	for _, key := range []string{"datum", "free_at_start"} {
		if spec := keyNamed("joint." + key); !t.has(key) {
			t.wrong(key, "is missing, and the joint has travel", "add "+written(spec, key)+": "+spec.Meaning)
		}
	}
	bound, ok := readBound(travel)
	j.Travel = bound
	if width := bound.Most - bound.Least; ok && okFree && 2*free > width {
		t.wrong("free_at_start", plain(free)+" either way is more than the whole travel of "+plain(width),
			"write what is surely free from wherever the joint may stand at power-up")
	}
}

func readBound(t *fields) (Bound, bool) {
	least, okLeast := t.number("least")
	most, okMost := t.number("most")
	t.refuseOthers()
	if okLeast && okMost && least >= most {
		t.wrong("least", plain(least)+" is not below most, which is "+plain(most), "write the lowest place as least and the highest as most")
		return Bound{}, false
	}
	return Bound{least, most}, okLeast && okMost
}

// readJointSensor reads a sensor that must say, if it knows a direction, how many counts a unit of the joint makes.
func readJointSensor(t *fields, unit Unit) (Sensor, bool) {
	s, ok := readSensor(t)
	perUnit, okUnit := t.number("counts_per_unit")
	switch {
	case !okUnit:
	case t.has("counts_per_unit") && math.Abs(perUnit) < leastPerUnit:
		t.wrong("counts_per_unit", plain(perUnit)+" counts for a unit would say nothing", "write the counts for a mm or degree, negative where it counts down as the joint goes up")
		okUnit = false
	case t.has("counts_per_unit"):
		s.CountsPerUnit = perUnit
	case unit == Degrees && s.CountsPerTurn > 0:
		s.CountsPerUnit = float64(s.CountsPerTurn) / 360
	case ok && unit != "" && s.Directed():
		remedy := "add counts_per_unit: counts for a mm of the joint"
		if unit == Degrees {
			remedy = "add counts_per_unit: counts for a degree of the joint, or counts_per_turn if the sensor sits on the joint's own shaft"
		}
		t.wrong("counts_per_unit", "is missing", remedy)
		okUnit = false
	}
	t.refuseOthers()
	return s, ok && okUnit
}
