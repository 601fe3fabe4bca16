package rig

import "fmt"

// Note is something in a description that is not wrong but that its maker should know.
type Note struct {
	Key    string `json:"key"`
	What   string `json:"what"`
	Remedy string `json:"remedy"`
}

// mostEdges is the edge rate, a second and counter, beyond which a small controller is not known to count all edges.
const mostEdges = 60000

// Notes lists what the maker should know before anything moves, in the order of the file.
func (r Rig) Notes() []Note {
	var notes []Note
	edges := func(key, owner string, rate float64) {
		if rate > mostEdges {
			notes = append(notes, Note{key + ".counts_per_turn",
				fmt.Sprintf("%s may make %.0f edges a second at the largest ratio; a small controller counts %d", owner, rate, mostEdges),
				"see that the controller takes it, or use a sensor with fewer counts"})
		}
	}
	edges("drive.sensor", "the drive shaft", r.edgesPerSecond(r.Drive.Sensor, 1))
	for i, a := range r.Axes {
		edges("axis.sensor", fmt.Sprintf("axis %q", a.Name), r.axisEdges(i))
		if _, ok := r.Feedback(i); !ok {
			notes = append(notes, Note{"axis.sensor",
				fmt.Sprintf("axis %q has no counter that follows it alone, so it can be calibrated but not put under closed loop", a.Name),
				"add [axis.sensor] at its output wheel"})
		}
	}
	for j, joint := range r.Joints {
		edges("joint.sensor", fmt.Sprintf("joint %q", joint.Name), r.jointEdges(j))
		if joint.CarriesWeight {
			notes = append(notes, r.unheld(j)...)
		}
		if step := r.Resolution(j); step > joint.Tolerance {
			notes = append(notes, Note{"joint.tolerance",
				fmt.Sprintf("joint %q moves %s %s for one count, and the tolerance of %s cannot be seen", joint.Name, plain(step), joint.Unit, plain(joint.Tolerance)),
				"ask for less, or use a sensor with more counts"})
		}
	}
	return notes
}

// unheld notes the axes without a worm that a weight hangs on.
func (r Rig) unheld(joint int) []Note {
	var notes []Note
	for i, perTurn := range r.Joints[joint].PerTurn {
		if perTurn != 0 && !r.Axes[i].Worm {
			notes = append(notes, Note{"axis.worm",
				fmt.Sprintf("joint %q carries weight, and nothing holds axis %q when the drive is off", r.Joints[joint].Name, r.Axes[i].Name),
				"chock or counterweight the joint before the drive is switched off"})
		}
	}
	return notes
}
