package client

import (
	"fmt"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Options of Dial. The nought value is a live client at 100 samples a second on
// the line rate at which connections open.
type Options struct {
	// Name says in errors which connection it is; without it a Conn that has a
	// String method is asked.
	Name string

	// Synchronous has every call that waits read the connection itself, without
	// a goroutine. OnSample then runs inside those calls.
	Synchronous bool

	// SampleRate is in samples a second; 0 is 100. It is lowered to what the
	// controller and the line can do: see Identity.
	SampleRate int

	// LineRate is tried, in bits a second, if it is not 0, the controller can do
	// it and the Conn is a link.RateChanger. If nothing comes at that rate, the
	// connection stays at the rate at which it was opened.
	LineRate int

	// Fresh has Dial undo what an earlier connection has set: neutral pulses,
	// pulse limits, guards and travel limits. Tables, gains and datum stay.
	Fresh bool

	// Axes and Counters are the least that the rig needs; with fewer Dial fails.
	Axes, Counters int

	// BootWait is how long Dial waits for a first answer; 0 is 5 s. A board that
	// opening the port restarted needs a second or two.
	BootWait time.Duration

	// Keep is how much of the past Watch can start from; 0 is 20 s.
	Keep time.Duration

	// Token tells connections apart; 0 is a random one.
	Token uint32

	// OnSample is called with every sample, once and in order, by one goroutine
	// at a time. A live client calls it from a goroutine of its own, so that a
	// slow observer delays nothing; if it falls a minute behind, the client
	// stops the rig and fails, since samples would be lost. It must not call
	// methods of the client that wait.
	OnSample func(bench.Sample)
}

func (o Options) withDefaults(conn link.Conn) Options {
	if s, ok := conn.(fmt.Stringer); ok && o.Name == "" {
		o.Name = s.String()
	}
	if o.SampleRate == 0 {
		o.SampleRate = 100
	}
	if o.BootWait == 0 {
		o.BootWait = bootWait
	}
	if o.Keep == 0 {
		o.Keep = 20 * time.Second
	}
	return o
}

// sampleRate is what the controller and the line allow of what is wanted.
func sampleRate(want int, id wire.Identity, baud int) int {
	return max(1, min(want, int(id.MostSampleHz), id.Shape().MostHz(baud)))
}
