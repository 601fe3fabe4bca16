package linktest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"trunnion/link"
)

// Faults are chances, from 0 to 1, of what becomes of a frame on its way.
type Faults struct {
	Drop    float64       // it is lost
	Repeat  float64       // it comes twice
	Corrupt float64       // one bit of it is turned over
	Split   float64       // it comes in two pieces
	Delay   float64       // it, and what follows, comes later
	Most    time.Duration // by so much at most; 0 is 50 ms
}

// Faulty is a link.Conn that spoils what passes over another one. What it does
// depends on the seed and the order of calls alone.
type Faulty struct {
	conn     link.Conn
	up, down Faults

	mu      sync.Mutex
	rand    *rand.Rand
	waiting []parcel // to the controller
	coming  []parcel // from it
	partial []byte   // of a frame from it
	spoiled map[string]int
}

// NewFaulty spoils what goes up to the controller and comes down from it.
func NewFaulty(conn link.Conn, seed uint64, up, down Faults) *Faulty {
	return &Faulty{conn: conn, up: up, down: down, rand: rand.New(rand.NewPCG(seed, 1)), spoiled: map[string]int{}}
}

// Spoiled returns how often each kind of fault was done.
func (f *Faulty) Spoiled() map[string]int {
	f.mu.Lock()
	defer f.mu.Unlock()
	all := map[string]int{}
	for k, n := range f.spoiled {
		all[k] = n
	}
	return all
}

// Now implements link.Conn.
func (f *Faulty) Now() time.Duration { return f.conn.Now() }

// Close implements link.Conn.
func (f *Faulty) Close() error { return f.conn.Close() }

// SetRate implements link.RateChanger if the connection below does.
func (f *Faulty) SetRate(bitsPerSecond int) error {
	if r, ok := f.conn.(link.RateChanger); ok {
		return r.SetRate(bitsPerSecond)
	}
	return fmt.Errorf("linktest: this connection cannot change its rate")
}

// Write implements link.Conn. What was delayed goes out at a later call of
// Write or Read.
func (f *Faulty) Write(p []byte) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.waiting = f.spoil(f.waiting, p, f.up)
	return f.forward()
}

// forward sends what is due.
func (f *Faulty) forward() error {
	now := f.conn.Now()
	for len(f.waiting) > 0 && f.waiting[0].at <= now {
		b := f.waiting[0].bytes
		f.waiting = f.waiting[1:]
		if err := f.conn.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// Read implements link.Conn.
func (f *Faulty) Read(p []byte, wait time.Duration) (int, error) {
	for deadline := f.conn.Now() + wait; ; {
		n, until, err := f.ready(p, deadline)
		if n > 0 || err != nil {
			return n, err
		}
		now := f.conn.Now()
		b := make([]byte, 512)
		n, err = f.conn.Read(b, max(0, until-now))
		f.mu.Lock()
		f.receive(b[:max(n, 0)])
		f.mu.Unlock()
		if err != nil {
			return 0, err
		}
		if n == 0 && now >= deadline {
			n, _, err := f.ready(p, deadline)
			return n, err
		}
	}
}

// ready sends and takes out what is due, and says until when nothing else will
// be.
func (f *Faulty) ready(p []byte, until time.Duration) (int, time.Duration, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.forward(); err != nil {
		return 0, 0, err
	}
	if len(f.waiting) > 0 {
		until = min(until, f.waiting[0].at)
	}
	if len(f.coming) == 0 {
		return 0, until, nil
	}
	first := &f.coming[0]
	if first.at > f.conn.Now() {
		return 0, min(until, first.at), nil
	}
	n := copy(p, first.bytes)
	if first.bytes = first.bytes[n:]; len(first.bytes) == 0 {
		f.coming = f.coming[1:]
	}
	return n, until, nil
}

// receive cuts what came into frames and spoils each.
func (f *Faulty) receive(b []byte) {
	f.partial = append(f.partial, b...)
	for {
		end := bytes.IndexByte(f.partial, 0)
		if end < 0 {
			return
		}
		f.coming = f.spoil(f.coming, f.partial[:end+1], f.down)
		f.partial = f.partial[end+1:]
	}
}

// spoil appends what becomes of one frame.
func (f *Faulty) spoil(queue []parcel, frame []byte, c Faults) []parcel {
	frame = bytes.Clone(frame)
	at := f.conn.Now()
	if n := len(queue); n > 0 {
		at = max(at, queue[n-1].at)
	}
	if f.chance("delay", c.Delay) {
		most := c.Most
		if most == 0 {
			most = 50 * time.Millisecond
		}
		at += time.Duration(f.rand.Int64N(int64(most)))
	}
	if f.chance("drop", c.Drop) {
		return queue
	}
	if f.chance("corrupt", c.Corrupt) {
		frame[f.rand.IntN(len(frame))] ^= 1 << f.rand.IntN(8)
	}
	again := bytes.Clone(frame)
	if k := 1 + f.rand.IntN(len(frame)); f.chance("split", c.Split) && k < len(frame) {
		queue = append(queue, parcel{at, frame[:k]})
		frame = frame[k:]
	}
	queue = append(queue, parcel{at, frame})
	if f.chance("repeat", c.Repeat) {
		queue = append(queue, parcel{at, again})
	}
	return queue
}

// chance draws, and counts what it decided.
func (f *Faulty) chance(kind string, p float64) bool {
	if p <= 0 || f.rand.Float64() >= p {
		return false
	}
	f.spoiled[kind]++
	return true
}
