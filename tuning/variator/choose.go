package variator

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"trunnion/tuning/lsq"
)

// clearGain is how much AICc must fall before a law with more parameters is taken.
const clearGain = 6

// fitNamed fits the one law that was asked for, with the terms that were.
func fitNamed(data *readingData, opt FitOptions) (*candidate, error) {
	s, _ := shapeOf(opt.Law)
	plain := newLaw(s, terms{hysteresis: data.hysteresis})
	law := newLaw(s, terms{opt.LinkageCurvature, opt.FrictionOffset, data.hysteresis})
	undetermined := &FitError{Law: opt.Law, Reason: fmt.Sprintf("%d readings do not determine it", data.len())}
	if data.len() < law.count()+spareReadings {
		return nil, undetermined
	}
	solver := new(lsq.Solver)
	c := newCandidate(law, data, opt.prior(), solver)
	starts := plain.starts(data)
	for k := range starts {
		for range law.count() - plain.count() { // the new terms stand between the onset and the hysteresis
			starts[k] = slices.Insert(starts[k], plain.shapeCount+2, 0)
		}
	}
	if !c.search(starts) {
		return nil, undetermined
	}
	searched := *c
	if c.reweigh(opt.OutlierSigmas) {
		return c, nil
	}
	*c = searched
	if c.fitHelped(c.within(opt.OutlierSigmas)) {
		c.scale = c.robustScale()
		return c, nil
	}
	return nil, undetermined
}

// fitLaws fits the laws, each to the same readings, simplest first.
func fitLaws(data *readingData, opt FitOptions) ([]*candidate, error) {
	found := searchShapes(data, opt)
	fitted := agreeOnOutliers(found, opt.OutlierSigmas)
	if !explained(fitted, opt.RejectBelow) {
		found = append(found, searchBent(data, opt)...)
		fitted = agreeOnOutliers(found, opt.OutlierSigmas)
	}
	if len(fitted) == 0 {
		return nil, &FitError{Law: opt.Law, Reason: fmt.Sprintf("%d readings do not determine it", data.len())}
	}
	all := growAll(fitted)
	if again := richerJudge(all, opt.OutlierSigmas); again != nil {
		all = growAll(again)
	}
	slices.SortStableFunc(all, func(a, b *candidate) int { return cmp.Compare(a.law.count(), b.law.count()) })
	return all, nil
}

// searchShapes searches the parameters of every shape that the bulk of the readings allows.
func searchShapes(data *readingData, opt FitOptions) []*candidate {
	solver := new(lsq.Solver)
	var found []*candidate
	bulge := 0.0
	for _, s := range shapes {
		law := newLaw(s, terms{hysteresis: data.hysteresis})
		if _, grows := s.(contactAngle); grows || data.len() < law.count()+spareReadings {
			continue // an angle error grows from contacts without one
		}
		if bends := bendOf(s); len(found) > 0 && bends*bulge < -surelyBends {
			continue // the readings bend the other way
		}
		c := newCandidate(law, data, opt.prior(), solver)
		if !c.search(law.starts(data)) {
			continue
		}
		found = append(found, c)
		if _, straight := s.(disc); straight {
			c.fitted = data.pick(c.kept)
			bulge = c.bulge()
		}
	}
	return found
}

// mostOutliers is the share of readings that may be wild before the laws are doubted instead.
const mostOutliers = 0.1

// explained tells whether one of the laws stands and leaves few readings out.
func explained(fitted []*candidate, rejectBelow float64) bool {
	return slices.ContainsFunc(fitted, func(c *candidate) bool {
		few := float64(c.data.len()-len(c.kept)) <= mostOutliers*float64(c.data.len())
		return few && !refutes(c.lackOfFit(), rejectBelow)
	})
}

// searchBent searches the ball on a curved linkage from the start: a law that misses the readings by much is a bad judge
// of which of them are wild, and what grows from it grows on the wrong ones.
func searchBent(data *readingData, opt FitOptions) []*candidate {
	law := newLaw(contact{}, terms{curvature: true, hysteresis: data.hysteresis})
	if data.len() < law.count()+spareReadings {
		return nil
	}
	reach := data.reach()
	var starts [][]float64
	for _, start := range newLaw(contact{}, terms{hysteresis: data.hysteresis}).starts(data) {
		for _, bend := range []float64{-0.15, 0, 0.15} {
			starts = append(starts, slices.Insert(slices.Clone(start), law.curvatureAt, bend/reach))
		}
	}
	c := newCandidate(law, data, opt.prior(), new(lsq.Solver))
	if !c.search(starts) {
		return nil
	}
	return []*candidate{c}
}

// surelyBends is how many scatters of a reading make a bend a fact.
const surelyBends = 3

// bendOf is which way a shape bends outward: +1 where the ratio rises ever faster, -1 ever slower, 0 straight.
func bendOf(s shape) float64 {
	switch s.(type) {
	case contact, contactAngle:
		return 1
	case discArm:
		return -1
	}
	return 0
}

// growAll adds to each candidate what it grows to and what is not there yet.
func growAll(fitted []*candidate) []*candidate {
	seen := map[string]bool{}
	for _, c := range fitted {
		seen[c.law.key()] = true
	}
	all := slices.Clone(fitted)
	for _, c := range fitted {
		all = append(all, tend(c, seen)...)
	}
	return all
}

// agreeOnOutliers lets the law with the least scatter say which readings are outliers, and fits every law to the rest.
func agreeOnOutliers(found []*candidate, limit float64) []*candidate {
	byScatter := slices.Clone(found)
	slices.SortStableFunc(byScatter, func(a, b *candidate) int { return cmp.Compare(a.scale, b.scale) })
	for _, judge := range byScatter {
		if !judge.reweigh(limit) {
			continue
		}
		var fitted []*candidate
		for _, c := range found {
			if c == judge || c.fitKept(judge.kept) {
				fitted = append(fitted, c)
			}
		}
		return fitted
	}
	return nil
}

// richerJudge lets a grown law that is clearly the best say which readings are outliers, since what a simpler law misses
// may have made good readings look wild, or let wild ones pass. It returns the laws fitted to the new choice of readings;
// nil where nothing changes.
func richerJudge(all []*candidate, limit float64) []*candidate {
	best := slices.MinFunc(all, func(a, b *candidate) int { return cmp.Compare(a.aicc(), b.aicc()) })
	before := best.kept
	if best.plain() || !best.reweigh(limit) || slices.Equal(before, best.kept) {
		return nil
	}
	var again []*candidate
	for _, c := range all {
		if c == best || c.fitKept(best.kept) {
			again = append(again, c)
		}
	}
	return again
}

// plain tells whether a law has not been grown.
func (c *candidate) plain() bool {
	_, angle := c.law.shape.(contactAngle)
	return !angle && !c.law.terms.curvature && !c.law.terms.friction
}

// choose takes the simplest law that the readings do not refute unless another such is clearly better, and between
// equally simple shapes the better. A term is less to be expected than a shape of its own: contacts off 90 degrees and a
// curved linkage bend the curve almost alike, so the linkage must be clearly better to be taken.
// Where all are refuted it takes one in the same way.
func choose(candidates []*candidate, rejectBelow float64) *candidate {
	standing := standingOf(candidates, rejectBelow)
	chosen := standing[0]
	for _, c := range standing[1:] {
		needed := float64(clearGain)
		if c.law.count() == chosen.law.count() {
			needed = clearGain * float64(c.added()-chosen.added())
		}
		if chosen.aicc()-c.aicc() > needed {
			chosen = c
		}
	}
	return chosen
}

// standingOf are the candidates that the readings do not refute; all where they refute all.
func standingOf(candidates []*candidate, rejectBelow float64) []*candidate {
	standing := slices.DeleteFunc(slices.Clone(candidates), func(c *candidate) bool { return refutes(c.lackOfFit(), rejectBelow) })
	if len(standing) == 0 {
		return candidates
	}
	return standing
}

// added is how many terms a law was given beyond its shape.
func (c *candidate) added() int { return len(c.law.added()) }

// refutes tells whether a lack-of-fit test speaks against its curve.
func refutes(test *LackOfFit, rejectBelow float64) bool {
	return test != nil && test.PValue < rejectBelow
}

// key tells laws apart.
func (l lawOf) key() string { return string(l.name()) + " " + strings.Join(l.extras(), " ") }
