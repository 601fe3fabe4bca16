package rig

import (
	"bytes"
	"fmt"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Parse reads and checks a description. name is what errors call the file; no file is opened. The error, if any, is an
// *Errors with every mistake that could be found at once: all but those of TOML itself, which come one at a time, and
// of the joints' arithmetic, which is looked at when the parts it needs are sound.
func Parse(name string, text []byte) (Rig, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")) // the mark that some editors put before UTF-8
	values, wrong := decode(name, text)
	if wrong != nil {
		return Rig{}, orNil([]Error{*wrong})
	}
	from := &reader{file: name, places: placesOf(text)}
	top := &fields{reader: from, values: values}
	if newer(top) {
		return Rig{}, orNil(from.found)
	}
	described := read(top)
	if found := from.inOrder(); len(found) > 0 {
		return Rig{}, orNil(found)
	}
	return described, nil
}

// newer reports, alone, a format from after this program: everything else in such a file may be right.
func newer(top *fields) bool {
	format, isWhole := top.values["format"].(int64)
	if !isWhole || format <= Format {
		return false
	}
	top.wrong("format", fmt.Sprintf("%d is newer than this program, which reads up to %d", format, Format),
		"use a newer program, or write the description in format 1")
	return true
}

func read(top *fields) Rig {
	var r Rig
	r.Format, _ = top.whole("format")
	r.Name, _ = top.label("name", longestRigName)
	if drive, ok := top.table("drive"); ok {
		r.Drive = readDrive(drive)
	}
	p := parts{top: top, sound: true}
	p.readAxes(&r)
	p.readJoints(&r)
	goals, _ := top.table("goals")
	r.Goals = readGoals(goals)
	top.refuseOthers()
	p.checkCounters(&r)
	if p.sound {
		p.checkJoints(&r)
	}
	return r
}

func readDrive(t *fields) Drive {
	var d Drive
	rpm, _ := t.number("nominal_rpm")
	d.NominalRPM = units.RPM(rpm)
	d.Reversible, _ = t.truth("reversible")
	d.Selector, _ = t.truth("selector")
	d.ChangeoverSeconds, _ = t.number("changeover_s")
	switch {
	case d.Selector && !t.has("changeover_s"):
		t.wrong("changeover_s", "is missing, and the drive has a selector", "add "+written(keyNamed("drive.changeover_s"), "changeover_s")+": seconds the selector takes to change over")
	case !d.Selector && t.has("changeover_s"):
		t.wrong("changeover_s", "is given, and the drive has no selector", "take it out, or write selector = true")
	}
	if sensor, ok := t.table("sensor"); ok {
		d.Sensor, _ = readSensor(sensor)
	}
	t.refuseOthers()
	return d
}

// readSensor reads what all sensors have.
func readSensor(t *fields) (Sensor, bool) {
	var s Sensor
	var ok [3]bool
	s.Counter, ok[0] = t.whole("counter")
	var kind string
	kind, ok[1] = t.word("kind")
	s.Kind, _ = kindNamed(kind)
	s.CountsPerTurn, ok[2] = t.whole("counts_per_turn")
	if ok[1] && ok[2] && t.has("counts_per_turn") {
		ok[2] = countsSuit(t, s)
	}
	if t.name != "joint.sensor" {
		t.refuseOthers()
	}
	return s, ok[0] && ok[1] && ok[2]
}

// Plausible counts a turn, by kind of sensor: no incremental sensor for a bench machine has more edges than 25000 lines
// give, and no shaft more than some hundred marks.
const (
	mostIncremental = 100000
	mostMarks       = 360
	leastDirected   = 4 // one cycle of two tracks
)

func countsSuit(t *fields, s Sensor) bool {
	least, most := leastDirected, mostCounts
	switch s.Kind {
	case bench.Incremental:
		most = mostIncremental
	case bench.Mark:
		least, most = 1, mostMarks
	}
	if s.CountsPerTurn >= least && s.CountsPerTurn <= most {
		return true
	}
	remedy := "write the counts for one turn"
	if s.Kind == bench.Incremental {
		remedy += ", every edge counted: four times the lines"
	}
	t.wrong("counts_per_turn", fmt.Sprintf("%d is not between %d and %d, as for a sensor of kind %q", s.CountsPerTurn, least, most, s.Kind.String()), remedy)
	return false
}

// readGoals reads [goals]; nil gives the defaults.
func readGoals(t *fields) Goals {
	if t == nil {
		t = &fields{reader: &reader{places: placesOf(nil)}, name: "goals"}
	}
	var g Goals
	g.CurvePercent, _ = t.number("curve_percent")
	edge, _ := t.number("edge_us")
	g.Edge = units.Pulse(edge)
	g.Ms, _ = t.number("ms")
	t.refuseOthers()
	return g
}
