package variator

import (
	"fmt"
	"math"

	"trunnion/tuning/units"
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
	// WheelQuotient is drive wheel over output wheel, where the rig file knows them: what the gain of a ball should be but
	// for creep, and a prior for it. No standard error, not known.
	WheelQuotient units.Estimate
	// LinkageCurvature and FrictionOffset add that term to a law that is named in Law. Automatic and FreeForm pass them
	// over: the former adds terms where the readings ask for them.
	LinkageCurvature, FrictionOffset bool
}

// creepShare is what creep takes from a friction drive's ratio at the loads it is built for: 0.5 to 3 % of it (handbook
// range, from memory), spread evenly.
const (
	creepShare = 0.0175
	creepError = 0.0072
)

// prior is what the wheels say of the size of the gain.
func (o FitOptions) prior() units.Estimate {
	k := o.WheelQuotient
	if !(k.StdErr > 0) {
		return units.Estimate{}
	}
	return units.Estimate{Value: k.Value * (1 - creepShare), StdErr: math.Hypot(k.StdErr, k.Value*creepError)}
}

// usualRejection is the p-value below which a law counts as refuted unless told otherwise.
const usualRejection = 0.01

func (o FitOptions) withDefaults() (FitOptions, error) {
	if o.OutlierSigmas == 0 {
		o.OutlierSigmas = 3.5
	}
	if o.RejectBelow == 0 {
		o.RejectBelow = usualRejection
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
	if q := o.WheelQuotient; q.StdErr != 0 && !(q.Value > 0 && q.StdErr > 0 && q.StdErr < q.Value) {
		return o, &OptionsError{Field: "WheelQuotient", Reason: fmt.Sprintf("%v; a positive quotient with a smaller error", q)}
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

// Fit fits a curve to the readings of one axis. Errors are *ReadingsError, *OptionsError or *FitError.
//
// Every law is fitted so that wild readings do not spoil it. The law with the least scatter says which readings are
// outliers; all laws are then fitted to the rest, and grow where the readings ask for more (an angle error, a curved
// linkage, a friction offset). Of those that the lack-of-fit test does not refute the simplest is taken, unless another's
// AICc is lower by more than 6. Where it refutes them all, the free-form curve is taken if it foretells left-out readings
// better.
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
	if opt.Law != Automatic {
		c, err := fitNamed(data, opt)
		if err != nil {
			return Model{}, err
		}
		return c.model([]*candidate{c}, opt), nil
	}
	candidates, err := fitLaws(data, opt)
	if err != nil {
		return fitFreeForm(data, opt)
	}
	chosen := choose(candidates, opt.RejectBelow)
	model := chosen.model(candidates, opt)
	if model.Refuted {
		return betterOf(model, data, opt), nil
	}
	return model, nil
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
