// Package keys holds the table of keys: what is pressed, what it is called, what
// it asks for, and whether it does anything now and if not, why not. The bar at
// the foot of the screen, the help page and the routing are all made from it, so
// that they cannot differ.
//
// No key is an upper-case letter: on a slow line an arrow key can arrive in two
// parts, and the second part is one.
package keys

import (
	"fmt"

	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

// Intent is what a key asks for.
type Intent uint8

// Intents.
const (
	None Intent = iota
	Stop
	Interrupt
	Arm
	RunTask
	RunAll
	Clear
	View
	Help
	Quit
	Left
	Right
	Up
	Down
	Back
	Redraw
	Yes
	No
)

// State is what decides whether a key does anything now.
type State struct {
	Linked  bool // samples come in
	Rig     bench.State
	Armed   bool   // the person armed the rig, and nothing has stopped it since
	Running bool   // a task, or several in a row
	Busy    string // what else is under way, such as "arming"; empty is nothing
	AllDone bool

	Axis  string // of the focus
	Task  session.Task
	Needs session.Task // to be done before it; empty is nothing
}

// Key is one row of the table.
type Key struct {
	Press   []string // as Bubble Tea names them
	Show    string   // as the person is told
	Name    string   // in the bar
	Help    string   // on the help page
	Intent  Intent
	Bar     int                        // how soon it is left off a bar without room; 0 is never on it
	Enabled func(State) (string, bool) // why not, and whether
}

// Table is the keys of the console, in the order of the bar.
func Table() []Key {
	return []Key{
		{[]string{" ", "ctrl+@"}, "space", "stop", "stop at once: drive off, every axis to its neutral; latched until cleared. Works everywhere, always", Stop, 9, always},
		{[]string{"a"}, "a", "arm", "arm the rig, so that it may move; asks first", Arm, 8, mayArm},
		{[]string{"enter"}, "enter", "run", "run the task of the axis that has the focus; asks before anything moves", RunTask, 8, mayRun},
		{[]string{"r"}, "r", "run all", "run all that is left, one axis finished before the next; asks first", RunAll, 7, mayRunAll},
		{[]string{"c"}, "c", "clear", "take the latch off a stop; asks first", Clear, 7, mayClear},
		{[]string{"left", "h"}, "left, h", "", "focus one task to the left", Left, 0, always},
		{[]string{"right", "l"}, "right, l", "", "focus one task to the right", Right, 0, always},
		{[]string{"up", "k"}, "up, k", "", "focus the axis above", Up, 0, always},
		{[]string{"down", "j"}, "down, j", "", "focus the axis below", Down, 0, always},
		{[]string{"tab"}, "tab", "view", "show the next view of the task: picture, findings, what was said", View, 6, always},
		{[]string{"?"}, "?", "keys", "this page", Help, 8, always},
		{[]string{"q"}, "q", "quit", "park everything and quit; asks first", Quit, 8, always},
		{[]string{"ctrl+c"}, "ctrl-c", "", "while anything moves: stop and park. Otherwise: quit, after asking", Interrupt, 0, always},
		{[]string{"esc"}, "esc", "", "back: leave a question or a page", Back, 0, always},
		{[]string{"ctrl+l"}, "ctrl-l", "", "draw the screen anew", Redraw, 0, always},
	}
}

// Answers is the keys of a question.
func Answers() []Key {
	return []Key{
		{[]string{"y"}, "y", "yes", "", Yes, 9, always},
		{[]string{"n", "esc", "q"}, "n", "no", "", No, 9, always},
	}
}

// Find is the key of a table for what was pressed.
func Find(table []Key, pressed string) (Key, bool) {
	for _, k := range table {
		for _, p := range k.Press {
			if p == pressed {
				return k, true
			}
		}
	}
	return Key{}, false
}

func always(State) (string, bool) { return "", true }

// quiet says why nothing can be started now; empty is nothing.
func quiet(s State) string {
	switch {
	case s.Busy != "":
		return s.Busy
	case s.Running:
		return "a task runs"
	case !s.Linked:
		return "no word from the controller"
	case s.Rig == bench.Stopped:
		return "stopped: clear that first"
	}
	return ""
}

func answer(why string) (string, bool) { return why, why == "" }

func mayArm(s State) (string, bool) {
	if why := quiet(s); why != "" {
		return answer(why)
	}
	if s.Armed {
		return answer("armed already")
	}
	return answer("")
}

func mayRun(s State) (string, bool) {
	why := quiet(s)
	switch {
	case why != "":
	case s.Needs != "":
		why = fmt.Sprintf("%s needs %s first", s.Task, s.Needs)
	case s.Task.Moves() && !s.Armed:
		why = "not armed"
	}
	return answer(why)
}

func mayRunAll(s State) (string, bool) {
	why := quiet(s)
	switch {
	case why != "":
	case s.AllDone:
		why = "nothing is left"
	case !s.Armed:
		why = "not armed"
	}
	return answer(why)
}

func mayClear(s State) (string, bool) {
	switch {
	case s.Busy != "":
		return answer(s.Busy)
	case s.Rig != bench.Stopped:
		return answer("not stopped")
	}
	return answer("")
}
