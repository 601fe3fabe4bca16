package faults

import (
	"fmt"
	"maps"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"trunnion/tuning/bench"
)

// How long the rig may go on, ms. What PROTOCOL.md allows after the last good
// frame counts from when the frame is through: a byte takes 87 us on the line,
// and the tap sees a frame up to two turns of Serve before the board does.
const (
	driveLimit = 300.0
	pulseLimit = 320.0
	onTheWay   = 12.0
)

// cell is one fault of the matrix.
type cell struct {
	fault string

	// command is the program to run; nil is the job on the rig's port.
	command func(t testing.TB, b *bed, dir string) *exec.Cmd
	// strike does the harm while the output turns, and tells when it took
	// effect. It may wait for the program's answer.
	strike func(t testing.TB, b *bed, c *child) (event int64)

	// within is how many ms after the event drive and pulse must be at rest.
	// Where it is 0, the silence counts, from the last good frame.
	driveWithin, pulseWithin float64
	state                    bench.State
	cause, orCause           bench.Cause

	code     int      // -1 is killed, -3 is not ended by the fault
	verdicts []string // that the record may have
	told     []string // that the person reads
	finding  bool     // it ends the job with a finding, whose cure is printed
}

// matrix runs cells, each a subtest of the fault's name.
func matrix(t *testing.T, cells []cell) {
	for _, x := range cells {
		together(t, x.fault, x.run)
	}
}

func (x cell) run(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	command := exec.Command(binary, job(b.path, dir)...)
	if x.command != nil {
		command = x.command(t, b, dir)
	}
	c := start(t, command)
	b.inMotion(t, c)
	event := x.strike(t, b, c)
	b.pass(time.Second)
	if !c.over() && x.code == -1 {
		t.Errorf("the program lives on")
	}
	c.wait(t, 15*time.Second)
	b.pass(300 * time.Millisecond)

	r := b.since(event)
	x.judgeRig(t, r)
	assert.Equal(t, x.code, c.code, "exit code\n%s", c.errs)
	found := verdict(t, dir)
	assert.Contains(t, x.verdicts, found, "the record")
	lines := printedIsRecorded(t, c.out.String(), dir)
	assert.Positive(t, lines, "lines that were promised")
	for _, words := range x.told {
		assert.Contains(t, c.errs.String(), words, "what the person is told")
	}
	if x.finding {
		assert.Contains(t, c.out.String(), "to tell ")
		assert.Contains(t, c.out.String(), " finding ")
	}
	assert.NotContains(t, c.errs.String(), "[running]", "a crash is no message")
	assert.NotContains(t, c.errs.String(), "DATA RACE")
	report(x.fault, r.words(), found+", "+plural(lines, "line")+" kept", told(c))
}

// judgeRig holds what the controller did against the times.
func (x cell) judgeRig(t testing.TB, r behaviour) {
	t.Helper()
	t.Logf("rig: %s", r.words())
	assert.Equal(t, x.state, r.state, "state")
	if x.orCause == bench.CauseNone || r.cause != x.orCause {
		assert.Equal(t, x.cause, r.cause, "cause")
	}
	if assert.NotEqual(t, int64(never), r.driveOff, "the drive is off") {
		from := int64(0)
		limit := x.driveWithin
		if limit == 0 {
			from, limit = max(0, r.lastFrame), driveLimit+onTheWay
		}
		assert.LessOrEqual(t, ms(r.driveOff-from), limit, "ms until the drive was off")
	}
	if assert.NotEqual(t, int64(never), r.restPulse, "neutral is out") {
		from := int64(0)
		limit := x.pulseWithin
		if limit == 0 {
			from, limit = max(0, r.lastFrame), pulseLimit+onTheWay
		}
		assert.LessOrEqual(t, ms(r.restPulse-from), limit, "ms until neutral was out")
	}
	assert.Empty(t, r.after, "nothing moves by itself afterwards")
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func ms(micros int64) float64 { return float64(micros) / 1000 }

// words says what the controller did.
func (r behaviour) words() string {
	one := func(what string, at int64) string {
		if at == never {
			return what + " never"
		}
		return fmt.Sprintf("%s %.0f", what, ms(at))
	}
	last := "no frame after it"
	if r.lastFrame > 0 {
		last = fmt.Sprintf("last frame %.0f", ms(r.lastFrame))
	}
	state := r.state.String()
	if r.state == bench.Stopped {
		state += ": " + r.cause.String()
	}
	return fmt.Sprintf("%s, %s, %s; %s", one("drive off", r.driveOff), one("neutral", r.restPulse), last, state)
}

// told is what the person read, and the exit code.
func told(c *child) string {
	said := strings.Join(strings.Fields(strings.TrimSpace(c.errs.String())), " ")
	switch {
	case c.code == -1:
		return "killed: " + c.cmd.ProcessState.Sys().(syscall.WaitStatus).Signal().String()
	case said == "":
		said = "nothing"
	}
	for pattern, word := range chance {
		said = pattern.ReplaceAllString(said, word)
	}
	return fmt.Sprintf("%d: %s", c.code, said)
}

// chance is what differs from run to run, with what the table says instead.
var chance = map[*regexp.Regexp]string{
	regexp.MustCompile(`/dev/pts/\d+`):                              "PORT",
	regexp.MustCompile(`[^ (]*/Test[^ ]*?/\d+/(above/|small/)?run`): "FOLDER",
	regexp.MustCompile(`[^ (]*/fixtures/rigs/`):                     "",
	regexp.MustCompile(`process \d+ on \S+, since \S+ \S+ \S+,`):    "process N on HOST, since WHEN,",
	regexp.MustCompile(`process \d+`):                               "process N",
	regexp.MustCompile(`\(\d+ bytes\)`):                             "(N bytes)",
}

// row is a line of the table at the end.
type row struct{ fault, rig, record, told string }

var table struct {
	sync.Mutex
	rows map[string]row // by fault: a later attempt takes the place of an earlier
}

func report(fault, rig, record, told string) {
	table.Lock()
	defer table.Unlock()
	if table.rows == nil {
		table.rows = map[string]row{}
	}
	table.rows[fault] = row{fault, rig, record, told}
}

// printTable logs the rows of the tests that have ended.
func printTable(t testing.TB) {
	table.Lock()
	defer table.Unlock()
	var s strings.Builder
	s.WriteString("\n| fault | controller did, ms after it | recorded | told |\n|---|---|---|---|\n")
	for _, fault := range slices.Sorted(maps.Keys(table.rows)) {
		r := table.rows[fault]
		fmt.Fprintf(&s, "| %s | %s | %s | %s |\n", r.fault, r.rig, r.record, strings.ReplaceAll(r.told, "|", "/"))
	}
	t.Log(s.String())
}

// strikeBy is a strike that takes effect when the rig's own goroutine does f.
func strikeBy(f func(b *bed)) func(testing.TB, *bed, *child) int64 {
	return func(_ testing.TB, b *bed, _ *child) int64 { return b.do(func() { f(b) }) }
}
