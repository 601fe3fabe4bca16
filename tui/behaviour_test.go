package tui

import (
	"errors"
	"slices"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tui/feed"
	"trunnion/tui/glyph"
	"trunnion/tuning/bench"
	"trunnion/tuning/session"
)

func open(t *testing.T, scene string) *driver { return newDriver(t, scene, glyph.Full, 80, 24) }

// during marks a task as running, as the session would tell.
func (d *driver) during(axis string, task session.Task) {
	d.feed.Event(session.Event{Kind: session.Began, Axis: axis, Task: task, Text: string(task) + " of " + axis, Wall: d.at})
	d.pass(100 * time.Millisecond)
}

func TestNothingRunsBeforeArming(t *testing.T) {
	d := open(t, "first-power-up")
	d.press("enter")
	d.shows("run: not armed", "SAFE")
	d.press("r", "y")
	assert.Empty(t, d.fake.said())
	d.pass(noticeTime + time.Second)
	d.hides("not armed")
}

func TestArmingAsksAndSaysWhatToMind(t *testing.T) {
	d := open(t, "first-power-up")
	d.press("a")
	d.shows("Arm the rig?", "not an emergency stop", "hard switch", "trolley 80 mm")
	d.press("a", "enter", "tab", "x")
	assert.Empty(t, d.fake.said(), "only y says yes")
	d.press("n")
	d.hides("Arm the rig?")
	assert.Empty(t, d.fake.said())
	d.press("a", "esc", "a", "y")
	assert.Equal(t, []string{"arm"}, d.fake.said())
}

func TestAYesCountsOnlyOnceTheQuestionHasStood(t *testing.T) {
	d := open(t, "first-power-up")
	d.press("a")
	for range 20 { // y held down, as the terminal repeats it
		d.send(key("y"))
		d.pass(40 * time.Millisecond)
	}
	assert.Empty(t, d.fake.said())
	d.press("y")
	assert.Equal(t, []string{"arm"}, d.fake.said())
}

func TestAHeldKeyNeverStartsMotion(t *testing.T) {
	d := open(t, "armed")
	for _, name := range []string{"enter", "r"} {
		for range 100 {
			d.send(key(name))
			d.pass(40 * time.Millisecond)
		}
		d.press("esc")
	}
	d.send(key("ryryryryry"))
	d.pass(time.Second)
	d.send(key("yyyy"))
	assert.Empty(t, d.fake.said())
}

func TestRunningTheTaskInFocus(t *testing.T) {
	d := open(t, "armed")
	d.press("down", "enter")
	d.shows("Run check of left drum?", "It moves: short bursts", "lift, tip")
	d.press("y")
	assert.Equal(t, []string{"run left drum, check"}, d.fake.said())
	d.during("left drum", session.Check)
	d.shows("[running]", "keep clear of the drive shaft and of left drum")
	d.press("enter")
	d.shows("run: a task runs")
	d.press("y")
	assert.Len(t, d.fake.said(), 1)
}

func TestATaskOutOfOrderSaysWhatItNeeds(t *testing.T) {
	d := open(t, "armed")
	d.press("right", "right", "enter")
	d.shows("curve needs check first")
	assert.Empty(t, d.fake.said())
}

func TestComputingNeedsNeitherArmingNorAYes(t *testing.T) {
	d := open(t, "fitted")
	d.feed.Event(session.Event{Kind: session.State, Text: "parked"})
	d.press("enter")
	assert.Equal(t, []string{"run traverse, fit"}, d.fake.said())
}

func TestRunningAllThatIsLeft(t *testing.T) {
	d := open(t, "finding")
	d.press("r")
	d.shows("Run all that is left?", "6 tasks on 1 axis", "Stay with it")
	d.press("y")
	assert.Equal(t, []string{"run all"}, d.fake.said())
	d.during("right drum", session.DeadBand)
	assert.Equal(t, feed.Place{Axis: 2, Task: 1}, d.root.focus, "the focus goes where the work is")
}

func TestSpaceStopsWhereverItIsPressed(t *testing.T) {
	for name, before := range map[string]func(*driver){
		"idle":            func(*driver) {},
		"in a question":   func(d *driver) { d.press("enter") },
		"on the help":     func(d *driver) { d.press("?") },
		"while it is run": func(d *driver) { d.press("enter", "y"); d.during("traverse", session.Check) },
		"too small":       func(d *driver) { d.root.resize(30, 8) },
		"while quitting":  func(d *driver) { d.press("q") },
	} {
		for pressed, msg := range map[string]tea.KeyMsg{
			"space":           key("space"),
			"within a burst":  {Type: tea.KeyRunes, Runes: []rune("xx r")},
			"alt and space":   {Type: tea.KeySpace, Runes: []rune{' '}, Alt: true},
			"ctrl and space":  {Type: tea.KeyCtrlAt},
			"after an escape": {Type: tea.KeyRunes, Runes: []rune{' '}, Alt: true},
		} {
			d := open(t, "armed")
			before(d)
			d.pass(400 * time.Millisecond)
			d.send(msg)
			assert.Contains(t, d.fake.said(), "stop: space was pressed", "%s, %s", name, pressed)
			d.hides("Run check of traverse?", "Park and quit?")
		}
	}
}

func TestOnePressStopsOnce(t *testing.T) {
	d := open(t, "armed")
	require.NoError(t, d.root.stops.stop("space was pressed")) // from where the bytes are read
	d.send(key("space"))
	assert.Len(t, d.fake.said(), 1)
	d.press("space")
	assert.Len(t, d.fake.said(), 2, "a new press is a new stop")
}

func TestAStopThatWasNotHeardIsTriedAgainAndTold(t *testing.T) {
	d := open(t, "armed")
	d.fake.fails["stop: space was pressed"] = &bench.SilentError{Command: "stop", Waited: 0.5}
	d.send(key("space"))
	d.send(key("space"))
	assert.Len(t, d.fake.said(), 2)
	d.shows("no answer to stop in 0.5 s")
}

func TestControlCStopsAndParksWhatMoves(t *testing.T) {
	d := open(t, "armed")
	d.press("enter", "y")
	d.during("traverse", session.Check)
	d.press("ctrl+c")
	assert.Equal(t, []string{"run traverse, check", "stop: ctrl-c was pressed", "park"}, d.fake.said())
	assert.False(t, d.quit)
}

func TestControlCAsksToQuitWhenNothingMoves(t *testing.T) {
	d := open(t, "armed")
	d.press("?", "ctrl+c")
	d.shows("Park and quit?")
	assert.Empty(t, d.fake.said())
	d.press("ctrl+c")
	assert.Equal(t, []string{"park"}, d.fake.said())
	assert.True(t, d.quit)
}

func TestQuittingEndsTheTaskAndParks(t *testing.T) {
	d := open(t, "armed")
	d.press("enter", "y")
	d.during("traverse", session.Check)
	d.press("q")
	d.shows("A task is running")
	assert.False(t, d.quit)
	d.press("y")
	assert.Equal(t, []string{"run traverse, check", "park"}, d.fake.said())
	assert.True(t, d.quit)
}

func TestQuittingWithoutAnAnswerIsAnError(t *testing.T) {
	d := open(t, "armed")
	d.fake.fails["park"] = errors.New("no answer")
	d.press("q", "y")
	assert.True(t, d.quit)
	assert.EqualError(t, d.root.quitErr, "no answer")
}

func TestClearingALatchedStopAsks(t *testing.T) {
	d := open(t, "stopped")
	d.shows("STOPPED", "[stopped]", "press c to clear")
	d.press("a")
	d.shows("arm: stopped: clear that first")
	d.press("c")
	d.shows("It was stopped: space was pressed.", "made it safe")
	d.press("y")
	assert.Equal(t, []string{"clear"}, d.fake.said())
}

func TestWhatGoesWrongIsTold(t *testing.T) {
	d := open(t, "first-power-up")
	d.fake.fails["arm"] = &bench.RefusedError{Command: "arm", Reason: bench.ReasonInputOpen}
	d.press("a", "y")
	d.shows("the stop input is open")
}

func TestAKeyThatIsNoneDoesNothing(t *testing.T) {
	d := open(t, "armed")
	before := d.text()
	d.send(key("x"))
	d.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("[A")}) // an arrow that came in two parts
	assert.Equal(t, before, d.text())
	assert.Empty(t, d.fake.said())
}

func TestAPasteAsksForNothingAndStopsWhatMoves(t *testing.T) {
	paste := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("run all of it\ny"), Paste: true}
	d := open(t, "armed")
	d.send(paste)
	assert.Empty(t, d.fake.said())
	moving := open(t, "dead-band")
	moving.send(paste)
	assert.Equal(t, []string{"stop: text was pasted while something moved"}, moving.fake.said())
}

func TestTheFocusStaysOnTheGrid(t *testing.T) {
	d := open(t, "armed")
	d.press("left", "up", "k", "h")
	assert.Equal(t, feed.Place{}, d.root.focus)
	for range 10 {
		d.press("right", "j")
	}
	assert.Equal(t, feed.Place{Axis: 2, Task: 6}, d.root.focus)
	d.press("l", "down")
	assert.Equal(t, feed.Place{Axis: 2, Task: 6}, d.root.focus)
}

func TestAFocusThatWasMovedLatelyIsLeftAlone(t *testing.T) {
	d := open(t, "armed")
	d.press("down")
	d.during("right drum", session.Check)
	assert.Equal(t, 1, d.root.focus.Axis)
	d.pass(followAfter)
	assert.Equal(t, 2, d.root.focus.Axis)
}

func TestARunThatNobodyWatchesIsParked(t *testing.T) {
	d := open(t, "armed")
	d.press("enter", "y")
	d.during("traverse", session.Check)
	d.pass(presenceTime - warningTime + time.Second)
	d.shows("press any arrow key")
	d.press("left")
	d.hides("press any arrow key")
	assert.Equal(t, []string{"run traverse, check"}, d.fake.said())
	d.pass(presenceTime + time.Second)
	assert.Equal(t, []string{"run traverse, check", "park"}, d.fake.said())
	d.until("no key was pressed for 5 minutes")
}

func TestARunThatMayBeLeftAloneIs(t *testing.T) {
	d := open(t, "armed")
	d.root.unattended = true
	d.press("enter", "y")
	d.during("traverse", session.Check)
	d.pass(2 * presenceTime)
	assert.Equal(t, []string{"run traverse, check"}, d.fake.said())
}

func TestASilentLineIsSeen(t *testing.T) {
	d := open(t, "armed")
	d.silence(3 * time.Second)
	d.shows("ARMED?", "link silent 3 s", "look at the controller's cable")
	d.send(key("enter"))
	d.shows("run: no word from the controller")
	d.pass(2 * time.Second)
	d.shows("link 100/s")
	d.hides("ARMED?", "silent")
}

func TestAFindingIsShownWithAllThereIsToKnow(t *testing.T) {
	d := open(t, "finding")
	d.shows("409 look", "dead band far from the middle pulse", "112 us from the 1500.0 us", "linkage rod too long", "square to the drive wheel", "put the horn a tooth over")
	d.press("tab")
	d.shows("what was said", "the counters of shaft and output stand still")
	d.press("tab")
	d.shows("ratio")
	d.hides("what was said")
	d.press("tab")
	d.shows("Cure")
	d.press("left", "up", "down")
	d.shows("Cure")
}

// A result is entered when it is recorded, and never before.
func TestAResultIsEnteredWhenItIsRecorded(t *testing.T) {
	d := open(t, "dead-band")
	d.shows("[searching]")
	d.feed.Event(session.Event{Kind: session.Kind(bench.Result), Axis: "left drum", Task: session.DeadBand, Text: "edges",
		Data: []byte(`{"width_us":{"value":47.25,"standard_error":0.8},"neutral_us":1498.2}`)})
	d.pass(100 * time.Millisecond)
	d.shows("[searching]")
	d.feed.Event(session.Event{Kind: session.Ended, Axis: "left drum", Task: session.DeadBand, Data: []byte(`{"done":true}`)})
	d.pass(100 * time.Millisecond)
	d.shows("47.2 ±0.8")
	d.hides("searching")
}

func TestNumbersAreRefreshedFourTimesASecond(t *testing.T) {
	d := open(t, "dead-band")
	seen := map[time.Time]bool{}
	for range 50 { // two seconds
		d.pass(40 * time.Millisecond)
		seen[d.root.numbersAt] = true
	}
	assert.InDelta(t, 8, len(seen), 2)
}

func TestHelpIsTheTableOfKeys(t *testing.T) {
	d := newDriver(t, "first-power-up", glyph.Full, 100, 60)
	d.press("?")
	d.shows("stop at once", "not now: not armed", "not now: not stopped", "STOPPED", "one standard error", "not an emergency stop")
	d.press("esc")
	d.shows("traverse · check")
}

func TestTheLastQuestionIsAskedOfTheStateThatIs(t *testing.T) {
	d := open(t, "armed")
	d.press("enter")
	d.feed.Event(session.Event{Kind: session.State, Text: "stopped: the stop input opened"})
	d.press("y")
	assert.Empty(t, d.fake.said(), "what may not be done any more is not done")
	d.shows("run: not armed")
	assert.False(t, slices.Contains(d.fake.said(), "run traverse, check"))
}
