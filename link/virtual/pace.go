package virtual

import "time"

// Pace is how many times faster than the wall's virtual time passes; FlatOut has
// nothing to do with the wall.
type Pace float64

// Two paces.
const (
	FlatOut  Pace = 0
	RealTime Pace = 1
)

// mostChunk is how much time passes at most in one hold of the lock, us.
const mostChunk = 50_000

// leastLag and lagWall bound how far virtual time may lag behind: by so many us,
// or by what passes in so much of the wall's time. What is beyond it, as after
// the computer slept, is left out.
const (
	leastLag = 1_000_000
	lagWall  = 250 * time.Millisecond
)

// pacer tells how far virtual time shall be.
type pacer struct {
	pace   Pace
	wall   time.Time // at which virtual time was micros
	micros int64
}

func newPacer(p Pace, now int64) pacer { return pacer{pace: p, wall: time.Now(), micros: now} }

// behind is how many microseconds shall pass until virtual time, which is now,
// is where it belongs.
func (p *pacer) behind(now int64) int64 {
	wall := time.Now()
	lag := p.micros + int64(wall.Sub(p.wall).Seconds()*1e6*float64(p.pace)) - now
	most := max(leastLag, int64(lagWall.Seconds()*1e6*float64(p.pace)))
	if lag > most {
		lag = most
		p.wall, p.micros = wall, now+lag
	}
	return lag
}

// real is what a span of virtual time takes on the wall.
func (p *pacer) real(micros int64) time.Duration {
	return time.Duration(float64(micros) * 1000 / float64(p.pace))
}
