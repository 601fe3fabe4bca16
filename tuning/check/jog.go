package check

import (
	"context"
	"fmt"
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// side is one side of the jog for the pulse limits.
type side struct {
	word   string  // below or above, for sentences
	sign   float64 // of the pulse
	counts float64 // +1 where longer pulses count up, -1 where down
	next   units.Pulse
	limit  units.Pulse // of the rig file
	good   units.Pulse // last pulse at which the ratio still grew
	jogs   []Jog
	why    string // why it ended; empty while it goes on
}

// jogLimits goes outward on both sides in turn, so that what the joint travels
// one way it travels back, until the ratio is as large as wanted, the rig
// file's limit is reached, the ratio ceases to grow, or the joint has no room.
func jogLimits(ctx context.Context, ax *moves.Axis, r *Result) error {
	ax.Say(bench.Intends, "feel out the tilt in steps of %.0f us on both sides in turn; the output turns faster at each step", jogStep)
	sides := []*side{
		{word: "above", sign: 1, counts: float64(r.CountsAbove), next: r.RoughAbove + jogStep/2, limit: ax.Limits.Most, good: r.RoughAbove},
		{word: "below", sign: -1, counts: float64(r.CountsAbove), next: r.RoughBelow - jogStep/2, limit: ax.Limits.Least, good: r.RoughBelow},
	}
	for sides[0].why == "" || sides[1].why == "" {
		for _, s := range sides {
			if s.why != "" {
				continue
			}
			if err := jog(ctx, ax, s); err != nil {
				return err
			}
			r.know(ax, sides)
		}
		if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
			return err
		}
	}
	for _, s := range sides {
		if len(s.jogs) == 0 {
			return noRoom(ctx, ax, s)
		}
		r.Jog = append(r.Jog, s.jogs...)
		if s.why == whyStalled {
			r.Findings = append(r.Findings, servoStop(s.word, s.good))
		}
	}
	r.PulseMost, r.WhyMost = sides[0].good, sides[0].why
	r.PulseLeast, r.WhyLeast = sides[1].good, sides[1].why
	ax.Say(bench.Decided, "pulses from %v (%s) to %v (%s) may be used", r.PulseLeast, r.WhyLeast, r.PulseMost, r.WhyMost)
	return nil
}

// noRoom says how much one quick reading beside the edge needs.
func noRoom(ctx context.Context, ax *moves.Axis, s *side) error {
	now, err := ax.Now(ctx)
	if err != nil {
		return err
	}
	down, up := ax.Free(now)
	return &moves.NoRoom{Axis: ax.Name, Needed: units.Turns(s.expected(s.next) * (jogTurns + runOnTurns(ax))), Low: down, High: up}
}

// Reasons for the end of a jog.
const (
	whyLimit   = "limit of the rig file"
	whyEnough  = "ratio large enough"
	whyStalled = "ratio no longer grows"
	whyRoom    = "the joint has no room for more"
)

// jog takes one quick reading on a side and decides whether to go on.
func jog(ctx context.Context, ax *moves.Axis, s *side) error {
	pulse := s.next
	if s.sign*float64(pulse-s.limit) > 0 {
		pulse = s.limit
	}
	now, err := ax.Now(ctx)
	if err != nil {
		return err
	}
	down, up := ax.Free(now)
	room := float64(up)
	if s.sign*s.counts < 0 {
		room = float64(down)
	}
	if needed := s.expected(pulse) * (jogTurns + runOnTurns(ax)); needed > room {
		if ax.Centred(now) { // elsewhere it is tried again once the joint is back
			s.why = whyRoom
		}
		return nil
	}
	reading, err := ax.Read(ctx, ax.Known.Neutral, pulse, measure.Outward, moves.Gate{Turns: jogTurns, Travel: room})
	if err != nil {
		return err
	}
	if err := ax.Rest(ctx, pulse); err != nil {
		return err
	}
	j := Jog{Pulse: pulse.Rounded(), Ratio: reading.Ratio}
	s.jogs = append(s.jogs, j)
	ax.Report(bench.Note{Kind: bench.Reading, Text: fmt.Sprintf("jog to %v: ratio %v", j.Pulse, j.Ratio), Data: j})
	if len(s.jogs) == 3 && math.Abs(j.Ratio.Value) < leastRatio {
		return outputDead(s.jogs)
	}
	switch {
	case stalled(s.jogs):
		s.why = whyStalled
		return nil
	case pulse == s.limit:
		s.why = whyLimit
	case math.Abs(j.Ratio.Value) >= wantedRatio:
		s.why = whyEnough
	}
	s.good, s.next = pulse.Rounded(), pulse+units.Pulse(s.sign*jogStep)
	return nil
}

// expected is the size of the ratio to be planned with at a pulse: a straight
// line through the last two jogs, and half as much again.
func (s *side) expected(pulse units.Pulse) float64 {
	n := len(s.jogs)
	if n < 2 {
		return 0.3
	}
	a, b := s.jogs[n-2], s.jogs[n-1]
	slope := (math.Abs(b.Ratio.Value) - math.Abs(a.Ratio.Value)) / math.Abs(float64(b.Pulse-a.Pulse))
	return 1.5 * (math.Abs(b.Ratio.Value) + slope*math.Abs(float64(pulse-b.Pulse)))
}

// runOnTurns is how many shaft turns pass while the tilt comes and goes.
func runOnTurns(ax *moves.Axis) float64 { return 0.5 * ax.Nominal.PerSecond() }

// know keeps what the moves need: a comfortable pulse each way.
func (r *Result) know(ax *moves.Axis, sides []*side) {
	const comfortable = 0.35 // ratio at which the joint is brought back
	for _, s := range sides {
		best := s.good
		for _, j := range s.jogs {
			best = j.Pulse
			if math.Abs(j.Ratio.Value) >= comfortable {
				break
			}
		}
		if s.sign*float64(r.CountsAbove) > 0 {
			ax.Known.CountsUp = best
		} else {
			ax.Known.CountsDown = best
		}
	}
}
