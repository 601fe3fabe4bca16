package client

import (
	"sync"
	"time"

	"trunnion/tuning/bench"
)

// mostBehind is how far an observer may fall behind, in seconds of samples.
const mostBehind = 60

// observer hands samples to a function from a goroutine of its own.
type observer struct {
	f      func(bench.Sample)
	most   int           // samples that may wait
	broken func(any)     // told of a panic in f
	wake   chan struct{} // something to do
	ended  chan struct{}

	mu      sync.Mutex // guards what follows
	waiting []bench.Sample
	closed  bool
}

func newObserver(f func(bench.Sample), most int, broken func(any)) *observer {
	return &observer{f: f, most: most, broken: broken, wake: make(chan struct{}, 1), ended: make(chan struct{})}
}

// add queues samples and reports whether the observer keeps up.
func (o *observer) add(samples []bench.Sample) bool {
	o.mu.Lock()
	o.waiting = append(o.waiting, samples...)
	keeps := len(o.waiting) <= o.most
	o.mu.Unlock()
	o.rouse()
	return keeps
}

func (o *observer) rouse() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// run hands over what is queued until the observer is closed and has had all.
func (o *observer) run() {
	defer close(o.ended)
	defer func() {
		if r := recover(); r != nil {
			o.broken(r)
		}
	}()
	for range o.wake {
		o.mu.Lock()
		batch, last := o.waiting, o.closed
		o.waiting = nil
		o.mu.Unlock()
		for _, s := range batch {
			o.f(s)
		}
		if last {
			return
		}
	}
}

// close returns when everything was handed over, and reports whether that was
// before the limit.
func (o *observer) close(limit <-chan time.Time) bool {
	o.mu.Lock()
	o.closed = true
	o.mu.Unlock()
	o.rouse()
	select {
	case <-o.ended:
		return true
	case <-limit:
		return false
	}
}
