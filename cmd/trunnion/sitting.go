package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"trunnion/link"
	"trunnion/link/client"
	"trunnion/link/port"
	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// sitting is a rig, the connection to it, and the session that runs on them.
type sitting struct {
	rig     rig.Rig
	where   string // what is connected, in words
	virtual bool
	dir     string // where the results go

	conn    link.Conn
	client  *client.Client
	record  *logbook.Writer
	session *session.Session
	earlier []session.Sitting // of a run that is gone on with
	ticking chan struct{}     // closed to end the record's ticks
	ended   sync.WaitGroup
	closing sync.Once
	failed  error // of closing
	fault   atomic.Pointer[programFault]
}

// listeners are who wants to see what happens.
type listeners struct {
	event  func(session.Event)
	sample func(bench.Sample)
}

// sit opens everything: rig file, connection, record, session. On an error
// whatever was opened is closed again.
func sit(o options, otherwisePace float64, l listeners) (*sitting, error) {
	r, text, err := o.description()
	if err != nil {
		return nil, err
	}
	pace, err := o.paceFactor(otherwisePace)
	if err != nil {
		return nil, err
	}
	places, err := o.places()
	if err != nil {
		return nil, err
	}
	s := &sitting{rig: r, virtual: o.port == "", ticking: make(chan struct{})}
	ok := false
	defer func() {
		if !ok {
			_ = s.close()
		}
	}()
	if err := s.connect(o, pace, places); err != nil {
		return nil, err
	}
	s.conn, l = tamper(s.conn, l)
	var current atomic.Pointer[session.Session]
	s.client, err = client.Dial(s.conn, client.Options{
		Synchronous: s.virtual && math.IsInf(pace, 1),
		SampleRate:  o.rate, LineRate: o.lineRate, Fresh: true,
		Axes: axesNeeded(r), Counters: countersNeeded(r),
		OnSample: func(sample bench.Sample) {
			if live := current.Load(); live != nil {
				live.Observe(sample)
			}
			if l.sample != nil {
				l.sample(sample)
			}
		},
	})
	if err != nil {
		return nil, err
	}
	if err := s.startRecord(o, text); err != nil {
		return nil, err
	}
	record, err := stay(s.record, s.dir)
	if err != nil {
		return nil, err
	}
	s.session, err = session.New(session.Config{
		Rig: r, Bench: s.client, Record: record, Now: time.Now, Software: version(), StandsAt: places, Listen: l.event,
	})
	if err != nil {
		return nil, err
	}
	for _, e := range s.earlier {
		if err := s.session.Restore(e); err != nil {
			return nil, err
		}
	}
	current.Store(s.session)
	ok = true
	return s, nil
}

// connect opens the serial port, or builds the virtual rig. What a person would
// read off the demo rig, where its joints stand, is added to places unless told
// otherwise.
func (s *sitting) connect(o options, pace float64, places session.StandsAt) error {
	if o.port != "" {
		p, err := port.Open(o.port, port.Options{})
		if err != nil {
			return err
		}
		s.conn, s.where = p, "the controller at "+o.port
		return nil
	}
	conn, stands, err := virtualConn(o.demo, o.seed, pace)
	if err != nil {
		return err
	}
	if o.demo != firstDay {
		for _, joint := range s.rig.Joints {
			at, known := stands[joint.Name]
			if _, told := places[joint.Name]; known && !told {
				places[joint.Name] = at
			}
		}
	}
	s.conn, s.where = conn, fmt.Sprintf("the virtual rig %q, %s, seed %d", o.demo, paceWords(pace), o.seed)
	return nil
}

// startRecord opens the record: a new one with the rig file beside it, or that
// of the run to go on with.
func (s *sitting) startRecord(o options, rigText []byte) error {
	if o.resume != "" {
		return s.resumeRecord(o.resume)
	}
	dir, err := runFolder(o.out, s.rig, time.Now())
	if err != nil {
		return err
	}
	id := s.client.Identity()
	s.record, err = logbook.Create(logbook.OSFS{}, filepath.ToSlash(dir), logbook.Header{
		Software: version(), RigHash: s.rig.Hash(), Counters: len(id.Counters), Axes: id.Axes,
	}, time.Now())
	if err != nil {
		return err
	}
	s.dir = dir
	s.ended.Add(1)
	go s.guarded(s.tick)
	return s.record.Snapshot("rig.toml", rigText)
}

// resumeRecord reads what an interrupted run holds and opens its record for
// more.
func (s *sitting) resumeRecord(dir string) error {
	earlier, _, err := readRun(dir)
	if err != nil {
		return err
	}
	for _, e := range earlier { // before anything is added to it
		if err := session.CheckRig(e, s.rig); err != nil {
			return err
		}
	}
	s.record, _, err = logbook.Resume(logbook.OSFS{}, filepath.ToSlash(dir), version(), time.Now())
	if err != nil {
		return err
	}
	s.dir, s.earlier = dir, earlier
	s.ended.Add(1)
	go s.guarded(s.tick)
	return nil
}

// tick keeps what a power cut can cost below a second.
func (s *sitting) tick() {
	defer s.ended.Done()
	ticker := time.NewTicker(200 * time.Millisecond)
	defer ticker.Stop()
	for {
		select {
		case <-s.ticking:
			return
		case now := <-ticker.C:
			_ = s.record.Tick(now) // a failure is kept and told at the next write
		}
	}
}

// saveCalibration writes the calibration as it stands beside the record.
func (s *sitting) saveCalibration() error {
	text, err := s.session.Document().Encode()
	if err != nil {
		return err
	}
	return s.record.Snapshot("calibration.json", text)
}

// stop stops the rig at once; it is for signals and panics, and works whatever
// state the rest is in.
func (s *sitting) stop(why string) {
	if s.session != nil {
		_ = s.session.Stop(why) // the controller stops by itself within 0.3 s if this is not heard
	} else if s.client != nil {
		_ = s.client.Stop()
	}
}

// close parks, saves and closes. It may be called twice.
func (s *sitting) close() error {
	s.closing.Do(func() {
		var errs []error
		if s.client != nil {
			if err := s.client.Park(); err != nil && !isStopped(err) {
				errs = append(errs, err)
			}
			errs = append(errs, s.client.Close())
		} else if s.conn != nil {
			errs = append(errs, s.conn.Close())
		}
		close(s.ticking)
		s.ended.Wait()
		if s.record != nil {
			errs = append(errs, s.record.Close(time.Now()))
		}
		if fault := s.fault.Load(); fault != nil {
			errs = append(errs, fault)
		}
		s.failed = errors.Join(errs...)
	})
	return s.failed
}

func isStopped(err error) bool {
	var stopped *bench.StoppedError
	return errors.As(err, &stopped)
}

// run does all tasks that are left, saving after each axis's.
func (s *sitting) run(ctx context.Context) error {
	err := s.session.Run(ctx)
	return andAlso(err, s.saveCalibration())
}

// axesNeeded is how many axes the controller must have.
func axesNeeded(r rig.Rig) int {
	n := 0
	for _, a := range r.Axes {
		n = max(n, a.Servo+1)
	}
	return n
}

// countersNeeded is how many counters the controller must have.
func countersNeeded(r rig.Rig) int { return r.Counters() }
