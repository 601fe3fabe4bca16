package conformance

import (
	"fmt"
	"strings"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
)

// Bench does and sees what no line can.
type Bench interface {
	// Restart starts the controller anew.
	Restart()
	// SetCounter makes a counter's sensor read count from now on.
	SetCounter(counter int, count int64)
	// OpenStopInput opens the stop switch, or closes it.
	OpenStopInput(open bool)
	// Drive is how the motor is switched: 0 off, 1 forward, -1 reverse.
	Drive() int
	// PulseTenths is the pulse that a servo gets, 0.1 us; 0 is none.
	PulseTenths(axis int) int
}

// Target is a controller that a script is run against.
type Target struct {
	Conn  link.Conn
	Bench Bench          // nil: scripts that need one are left out
	Start time.Duration  // how long a restarted controller takes
	Has   map[string]int // what scripts may need: axes, counters, table, baud, and whatever capability a script names
}

// Result is what a run found.
type Result struct {
	Script   string
	Blocks   int    // that were run
	LeftOut  string // why none was; empty if some were
	Failures []Failure
}

// Failure is a block whose outcome was another than expected.
type Failure struct {
	Script           string
	Line             int
	Title            string
	Missing, Surplus []string
}

func (f Failure) Error() string {
	return fmt.Sprintf("%s:%d: %s\n  expected and not received: %s\n  received and not expected: %s",
		f.Script, f.Line, f.Title, list(f.Missing), list(f.Surplus))
}

func list(lines []string) string {
	if len(lines) == 0 {
		return "nothing"
	}
	return "\n    " + strings.Join(lines, "\n    ")
}

// Run runs a script. Its error is a *FormatError, or one of the connection.
func Run(t Target, name, text string) (Result, error) {
	s, err := read(name, text)
	if err != nil {
		return Result{}, err
	}
	result := Result{Script: name}
	if result.LeftOut = t.lacks(s.needs); result.LeftOut != "" {
		return result, nil
	}
	r := runner{target: t, script: name, kept: captured{}}
	if err := r.begin(); err != nil {
		return result, err
	}
	for _, b := range s.blocks {
		r.received, r.numbers = nil, nil
		for i, command := range b.commands {
			if err := r.do(command); err != nil {
				return result, r.failed(b.line+i, err)
			}
		}
		if err := r.listen(settle); err != nil {
			return result, err
		}
		missing, surplus, err := r.kept.compare(b.expected, r.received)
		if err != nil {
			return result, &FormatError{name, b.line, err.Error()}
		}
		result.Blocks++
		if len(missing)+len(surplus) > 0 {
			result.Failures = append(result.Failures, Failure{name, b.line, b.title, missing, surplus})
		}
	}
	return result, nil
}

// lacks says what the target lacks of what a script needs.
func (t Target) lacks(needs []field) string {
	for _, n := range needs {
		least, err := integer(n.value)
		if err != nil {
			least = 1
		}
		if n.name == "bench" {
			if t.Bench == nil {
				return "it needs a bench beside the line"
			}
			continue
		}
		if int64(t.Has[n.name]) < least {
			return fmt.Sprintf("it needs %s %d", n.name, least)
		}
	}
	return ""
}

// Times of a run.
const (
	settle     = 8 * time.Millisecond // after the last command of a block
	answerTime = 60 * time.Millisecond
	beat       = 100 * time.Millisecond
)

// runner is a script under way.
type runner struct {
	target  Target
	script  string
	decoder wire.Decoder
	kept    captured

	number     uint16 // of the last request
	sent       []byte // it
	sentNumber uint16
	numbers    map[uint16]bool // of the requests of this block
	received   []string        // that the block must expect
	beats      int             // answers to heartbeats that are not listed
	samples    []wire.Frame    // of the last listening
}

// begin brings the controller to its start.
func (r *runner) begin() error {
	if r.target.Bench != nil {
		r.target.Bench.Restart()
	}
	if err := r.listen(r.target.Start); err != nil {
		return err
	}
	r.received = nil
	return r.target.Conn.Write([]byte{0})
}

func (r *runner) failed(line int, err error) error {
	if e, ok := err.(*FormatError); ok {
		e.Script, e.Line = r.script, line
	}
	return err
}

func wrong(format string, args ...any) error { return &FormatError{What: fmt.Sprintf(format, args...)} }

// listen takes what comes for so long.
func (r *runner) listen(span time.Duration) error {
	end := r.target.Conn.Now() + span
	for {
		left := end - r.target.Conn.Now()
		if left <= 0 {
			return nil
		}
		if err := r.readOnce(left); err != nil {
			return err
		}
	}
}

func (r *runner) readOnce(wait time.Duration) error {
	var buffer [512]byte
	n, err := r.target.Conn.Read(buffer[:], wait)
	if err != nil {
		return err
	}
	for _, got := range r.decoder.Feed(buffer[:n]) {
		r.take(got)
	}
	return nil
}

func (r *runner) take(got wire.Result) {
	if got.Err != nil {
		r.received = append(r.received, "bad "+strings.ReplaceAll(got.Err.Error(), " ", "_"))
		return
	}
	switch got.Frame.Message.(type) {
	case wire.Sample:
		r.samples = append(r.samples, got.Frame)
		return
	case wire.Ack:
		if got.Frame.Number == 0 && r.beats > 0 {
			r.beats--
			return
		}
	}
	text := got.Frame.String()
	if _, notice := got.Frame.Message.(wire.Notice); !notice && !r.numbers[got.Frame.Number] {
		text = "unasked:" + text
	}
	r.received = append(r.received, text)
}
