package faults

import (
	"sync"
	"sync/atomic"

	"trunnion/link/virtual/physics"
)

// drive stands for the drive in an act; axes are counted from 0.
const drive = -1

// act is something that the board did to the machine.
type act struct {
	at    int64   // us of the rig's clock
	what  int     // an axis, or drive
	value float64 // pulse in us, or direction
}

// witness is the machine with a note of everything that the board does to it.
// What a test wants to do to the rig is done here, in the rig's own goroutine.
type witness struct {
	*physics.Plant
	todo chan func()
	time atomic.Int64 // us

	mu   sync.Mutex // guards what follows
	acts []act
	last map[int]float64
}

func newWitness(p *physics.Plant) *witness {
	return &witness{Plant: p, todo: make(chan func()), last: map[int]float64{}}
}

// Advance is where the rig's time passes.
func (w *witness) Advance(micros int64) {
	select {
	case f := <-w.todo:
		f()
	default:
	}
	w.Plant.Advance(micros)
	w.time.Store(w.Now())
}

func (w *witness) SetPulse(axis int, micros float64) {
	w.note(axis, micros)
	w.Plant.SetPulse(axis, micros)
}

func (w *witness) SetDrive(direction int) {
	w.note(drive, float64(direction))
	w.Plant.SetDrive(direction)
}

func (w *witness) note(what int, value float64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.last[what] == value {
		return
	}
	w.last[what] = value
	w.acts = append(w.acts, act{w.Now(), what, value})
}

// now is the value in force.
func (w *witness) value(what int) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last[what]
}

// all is a copy of what was done so far.
func (w *witness) all() []act {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]act(nil), w.acts...)
}

// since is when the value in force came into force.
func (w *witness) since(what int) int64 {
	acts := w.all()
	for i := len(acts) - 1; i >= 0; i-- {
		if acts[i].what == what {
			return acts[i].at
		}
	}
	return 0
}
