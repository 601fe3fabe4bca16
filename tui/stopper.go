package tui

import (
	"fmt"
	"sync"
	"time"
)

// stopper passes on stops. One key reaches it twice, from where bytes are read and
// from the event loop; it stops the rig once.
type stopper struct {
	actions Actions
	now     func() time.Time

	mu    sync.Mutex
	going bool
	ended time.Time // of the last stop that was answered
}

// same is the time within which two stops are one key.
const same = 150 * time.Millisecond

// stop stops the rig. A stop that was not answered is tried again at the next
// call.
func (s *stopper) stop(why string) (err error) {
	s.mu.Lock()
	if s.going || s.now().Sub(s.ended) < same {
		s.mu.Unlock()
		return nil
	}
	s.going = true
	s.mu.Unlock()
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault in the program itself: %v", r)
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.going = false
		if err == nil {
			s.ended = s.now()
		}
	}()
	return s.actions.Stop(why)
}
