package variator

import (
	"cmp"
	"fmt"
	"slices"
)

// FitOptions says how to fit. The zero value chooses everything itself.
type FitOptions struct {
	// Law is the law to fit; Automatic lets the readings choose.
	Law LawName
	// OutlierSigmas is how many standard deviations from the curve make a reading an outlier; 0 means 3.5, at which
	// one clean reading in two thousand is lost. math.Inf(1) keeps every reading.
	OutlierSigmas float64
	// RejectBelow is the p-value of the lack-of-fit test below which a law counts as refuted; 0 means 0.01.
	RejectBelow float64
}

func (o FitOptions) withDefaults() (FitOptions, error) {
	if o.OutlierSigmas == 0 {
		o.OutlierSigmas = 3.5
	}
	if o.RejectBelow == 0 {
		o.RejectBelow = 0.01
	}
	if _, known := shapeOf(o.Law); !known && o.Law != Automatic && o.Law != FreeForm {
		return o, &OptionsError{Field: "Law", Reason: fmt.Sprintf("no law is called %q", o.Law)}
	}
	if !(o.OutlierSigmas >= 2) {
		return o, &OptionsError{Field: "OutlierSigmas", Reason: fmt.Sprintf("%v; at least 2", o.OutlierSigmas)}
	}
	if !(o.RejectBelow > 0 && o.RejectBelow < 0.5) {
		return o, &OptionsError{Field: "RejectBelow", Reason: fmt.Sprintf("%v; between 0 and 0.5", o.RejectBelow)}
	}
	return o, nil
}

// OptionsError reports an option that makes no sense.
type OptionsError struct {
	Field, Reason string
}

func (e *OptionsError) Error() string {
	return fmt.Sprintf("variator: option %s: %s", e.Field, e.Reason)
}

// FitError reports that no law could be fitted although the readings themselves are sound.
type FitError struct {
	Law    LawName
	Reason string
}

func (e *FitError) Error() string {
	return fmt.Sprintf("variator: law %s: %s; take more readings, spread over both sides", e.Law, e.Reason)
}

// clearGain is how much AICc must fall before a law with more parameters is taken.
const clearGain = 6

// Fit fits a curve to the readings of one axis. Errors are *ReadingsError, *OptionsError or *FitError.
//
// Every law is fitted so that wild readings do not spoil it. The law with the least scatter says which readings are
// outliers; all laws are then fitted to the rest. Of those that the lack-of-fit test does not refute the simplest is
// taken, unless another's AICc is lower by more than 6. Where it refutes them all, the free-form curve is taken if it
// foretells left-out readings better.
func Fit(readings []Reading, options FitOptions) (Model, error) {
	opt, err := options.withDefaults()
	if err != nil {
		return Model{}, err
	}
	data, err := gather(readings)
	if err != nil {
		return Model{}, err
	}
	if opt.Law == FreeForm {
		return fitFreeForm(data, opt)
	}
	candidates, err := fitLaws(data, opt)
	if err != nil {
		if opt.Law == Automatic {
			return fitFreeForm(data, opt)
		}
		return Model{}, err
	}
	chosen := choose(candidates, opt.RejectBelow)
	model := chosen.model(candidates, opt)
	if opt.Law == Automatic && model.Refuted {
		return betterOf(model, data, opt), nil
	}
	return model, nil
}

// fitLaws fits the wanted law, or all, each to the same readings, simplest first.
func fitLaws(data *readingData, opt FitOptions) ([]*candidate, error) {
	var found []*candidate
	for _, s := range shapes {
		if opt.Law != Automatic && s.name() != opt.Law {
			continue
		}
		if data.len() < newLaw(s, data.hysteresis).count()+spareReadings {
			continue
		}
		if c, ok := newCandidate(s, data); ok {
			found = append(found, c)
		}
	}
	fitted := agreeOnOutliers(found, opt.OutlierSigmas)
	if len(fitted) == 0 {
		return nil, &FitError{Law: opt.Law, Reason: fmt.Sprintf("%d readings do not determine it", data.len())}
	}
	return fitted, nil
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

// choose takes the simplest law that the readings do not refute unless another such is clearly better, and between
// equally simple ones the better. Where all are refuted it takes the simplest in the same way.
func choose(candidates []*candidate, rejectBelow float64) *candidate {
	standing := slices.DeleteFunc(slices.Clone(candidates), func(c *candidate) bool { return refutes(c.lackOfFit(), rejectBelow) })
	if len(standing) == 0 {
		standing = candidates
	}
	chosen := standing[0]
	for _, c := range standing[1:] {
		gain := chosen.aicc() - c.aicc()
		if c.law.count() > chosen.law.count() && gain > clearGain || c.law.count() == chosen.law.count() && gain > 0 {
			chosen = c
		}
	}
	return chosen
}

// refutes tells whether a lack-of-fit test speaks against its curve.
func refutes(test *LackOfFit, rejectBelow float64) bool {
	return test != nil && test.PValue < rejectBelow
}

// betterOf weighs a refuted law against the free-form curve.
func betterOf(law Model, data *readingData, opt FitOptions) Model {
	free, err := fitFreeForm(data, opt)
	if err != nil || !(free.LeaveOneOut.TypicalShare < law.LeaveOneOut.TypicalShare) {
		return law
	}
	free.Candidates = law.Candidates
	free.describe()
	return free
}
