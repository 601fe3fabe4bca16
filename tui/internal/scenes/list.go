package scenes

import (
	"fmt"
	"math"

	"trunnion/tui/feed"
	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

type tablePoint = bench.TablePoint

// List is all scenes.
func List() []Scene {
	return []Scene{firstPower(), armed(), searching(), curveRunning(), fitted(), found(), failed(), stopped(), proved(), allDone(), silent()}
}

// Named is the scene of a name.
func Named(name string) Scene {
	for _, s := range List() {
		if s.Name == name {
			return s
		}
	}
	panic("no scene " + name)
}

func resting(state bench.State, neutral bool) func(float64) Moment {
	return func(float64) Moment {
		m := Moment{State: state, Neutral: neutral}
		if neutral {
			m.Pulse = [3]units.Pulse{1509.4, 1498.2, 1501.7}
		}
		return m
	}
}

func firstPower() Scene {
	return Scene{Name: "first-power-up", About: "nothing is known, nothing is armed", Rig: resting(bench.Safe, false)}
}

func armed() Scene {
	return Scene{Name: "armed", About: "armed, nothing done yet", Rig: resting(bench.Armed, false), Events: func(t *Teller) { t.State("armed") }}
}

const drumIntends = "search the four edges near 1470.0 us and 1530.0 us in steps down to 1 us; the output creeps at most a quarter turn a try"

func searching() Scene {
	return Scene{
		Name: "dead-band", About: "the dead band of the left drum is being searched", Focus: feed.Place{Axis: 1, Task: 1},
		Events: func(t *Teller) {
			t.State("armed")
			t.All(wholeAxis("traverse"))
			drum := wholeAxis("left drum")
			t.Begin(drum.Name, session.Check)
			t.Done("shaft 409.3 ±0.3 rpm", drum.Check)
			search(t, drum.Name, 33)
		},
		Rig: tryingOut,
	}
}

// search begins a search and makes so many tries.
func search(t *Teller, axis string, n int) {
	t.Begin(axis, session.DeadBand)
	t.Note(bench.Intends, drumIntends, nil)
	for i, try := range tries(lift[axis], n) {
		t.Note(bench.Reading, try.String(), try)
		t.Note(bench.Progress, "", bench.Advance{Done: i + 1, Of: 48, SecondsLeft: 1.5 * float64(47-i)})
	}
}

// tryingOut is tries of the left drum: out to the edge, two turns, back.
func tryingOut(t float64) Moment {
	m := Moment{State: bench.Moving, Neutral: true, RPM: 409.3 + 2*math.Sin(9*t), Pulse: [3]units.Pulse{1509.4, 1498.2, 1501.7}}
	if math.Mod(t, 1.5) > 0.6 {
		m.Pulse[1] = units.Pulse(1521.5 + 1.5*math.Mod(math.Floor(t/1.5), 3))
		if math.Mod(t, 1.5) > 0.8 && m.Pulse[1] > 1522 {
			m.Ratio[1] = 0.018
		}
	}
	return m
}

func curveRunning() Scene {
	n := lift["left drum"]
	return Scene{
		Name: "curve", About: "the curve of the left drum is being measured", Focus: feed.Place{Axis: 1, Task: 2},
		Events: func(t *Teller) {
			t.State("armed")
			t.All(wholeAxis("traverse"))
			drum := wholeAxis("left drum")
			t.Begin(drum.Name, session.Check)
			t.Done("shaft 409.3 ±0.3 rpm", drum.Check)
			t.Begin(drum.Name, session.DeadBand)
			t.Done("edges", drum.DeadBand)
			t.Begin(drum.Name, session.Curve)
			t.Note(bench.Intends, "take 34 readings between 1064.0 us and 1932.0 us, sides in turn; the output goes up to ratio -1.02 and +1.02", nil)
			for i, r := range readings(n, 21) {
				t.Note(bench.Reading, fmt.Sprintf("%v, %s: ratio %+.4f ±%.4f over %.1f shaft turns", r.Pulse, r.Approach, r.Ratio.Value, r.Ratio.StdErr, r.ShaftTurns), r)
				t.Note(bench.Progress, "", bench.Advance{Done: i + 1, Of: 34, SecondsLeft: 2 * float64(33-i)})
			}
		},
		Rig: func(t float64) Moment {
			m := tryingOut(0)
			m.RPM = 409.3 + 2*math.Sin(9*t)
			p := n.centre + 400*math.Sin(t)
			if math.Mod(t, 2) < 0.7 {
				p = n.centre
			}
			m.Pulse[1], m.Ratio[1] = units.Pulse(math.Round(10*p)/10), n.ratio(p)
			return m
		},
	}
}

func fitted() Scene {
	return Scene{
		Name: "fitted", About: "the law of the traverse", Focus: feed.Place{Axis: 0, Task: 3},
		Events: func(t *Teller) {
			t.State("armed")
			t.All(wholeAxis("traverse"))
		},
		Rig: resting(bench.Safe, true),
	}
}

// offCentre is an invented finding in the words of the check.
func offCentre() finding.Finding {
	return finding.Finding{
		Name: finding.OffCentre, Weight: finding.Look,
		Evidence: "the dead band lies about 1612.0 us, 112 us from the 1500.0 us at which the servo was assembled",
		OneOf:    []string{"servo horn a tooth off its spline", "linkage rod too long or too short"},
		ToTell:   "look at the tilt frame at neutral: is it square to the drive wheel while the servo horn is not?",
		Cure:     "put the horn a tooth over, or set the rod; otherwise one side has less tilt to give",
	}
}

func found() Scene {
	return Scene{
		Name: "finding", About: "the check of the right drum found something", Focus: feed.Place{Axis: 2, Task: 0},
		Events: func(t *Teller) {
			t.State("armed")
			t.All(wholeAxis("traverse"))
			t.All(wholeAxis("left drum"))
			t.Begin("right drum", session.Check)
			t.Note(bench.Intends, "watch the counters for half a second with the drive off; nothing moves", nil)
			t.Note(bench.Seen, "the counters of shaft and output stand still", nil)
			t.Note(bench.Decided, "the output turns from about 1590.0 us down and 1640.0 us up; neutral is about 1612.0 us", nil)
			t.Find(offCentre())
			t.Done("shaft 409.3 ±0.3 rpm", checkOf(numbers{1612, 25, 1.06, 0.00185}, offCentre()))
		},
		Rig: resting(bench.Safe, true),
	}
}

func failed() Scene {
	return Scene{
		Name: "failed", About: "the check of the traverse could not be finished", Focus: feed.Place{Axis: 0, Task: 0},
		Events: func(t *Teller) {
			t.State("armed")
			t.Begin("traverse", session.Check)
			t.Note(bench.Intends, "watch the counters for half a second with the drive off; nothing moves", nil)
			t.Failed("counts while nothing should turn: counter 1 went 14 counts while the drive was off; see that all stands still; then touch nothing and watch the counter")
		},
		Rig: resting(bench.Safe, false),
	}
}

func stopped() Scene {
	return Scene{
		Name: "stopped", About: "space was pressed during the search", Focus: feed.Place{Axis: 1, Task: 1},
		Events: func(t *Teller) {
			searching().Events(t)
			t.State("stopped: space was pressed")
			t.Failed("stopped: space was pressed")
		},
		Rig: func(t float64) Moment {
			m := resting(bench.Stopped, true)(t)
			m.Cause, m.RPM = bench.CauseHost, 409*math.Max(0, 1-t)
			return m
		},
	}
}

func proved() Scene {
	return Scene{
		Name: "proved", About: "the traverse goes where it is sent", Focus: feed.Place{Axis: 0, Task: 6},
		Events: func(t *Teller) {
			t.State("armed")
			t.All(wholeAxis("traverse"))
		},
		Rig: resting(bench.Safe, true),
	}
}

func allDone() Scene {
	return Scene{
		Name: "all-done", About: "nothing is left to do", Focus: feed.Place{Axis: 2, Task: 6},
		Events: func(t *Teller) {
			t.State("armed")
			for _, name := range []string{"traverse", "left drum", "right drum"} {
				t.All(wholeAxis(name))
			}
		},
		Rig: resting(bench.Safe, true),
	}
}

// silent is played for a moment only; then the screen's clock goes on alone.
func silent() Scene {
	s := searching()
	s.Name, s.About = "silent", "the line went dead during the search"
	return s
}
