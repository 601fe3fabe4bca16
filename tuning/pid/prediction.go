package pid

// Prediction is what can be said of a loop before anything moves: margins, the answer to a small set-point step and to a
// load step. Its times, errors and efforts are those of Margins, StepMetrics and LoadMetrics; efforts are in ratio.
type Prediction struct {
	Margins  Margins     `json:"margins"`
	SetPoint StepMetrics `json:"set_point_step"`
	Load     LoadMetrics `json:"load_step"`
}

// Predict computes the margins and both responses of a tuning on a process. Responses of an unstable loop mean nothing;
// they are left empty.
func Predict(t Tuning, p Process) (Prediction, error) {
	var out Prediction
	var err error
	if out.Margins, err = LoopMargins(t, p); err != nil || !out.Margins.Stable {
		return out, err
	}
	var sim Simulator
	r, err := sim.Run(t, p, SetPointStep)
	if err != nil {
		return out, err
	}
	out.SetPoint = r.StepMetrics()
	if r, err = sim.Run(t, p, LoadStep); err != nil {
		return out, err
	}
	out.Load = r.LoadMetrics()
	return out, nil
}

// predict fills in the predictions of a design.
func (d *Design) predict(p Process) error {
	predicted, err := Predict(d.Tuning, p)
	d.Predicted = &predicted
	return err
}

// SideBySide is every published rule's design for a process with its predictions, those without an answer left out, and
// the optimum within the bounds at the end where there is one. Rules are not held to the bounds: what they reach is what
// the comparison is for.
func SideBySide(kind Kind, p Process, b Bounds) ([]Design, error) {
	var out []Design
	for _, r := range Rules() {
		d, err := r.Design(kind, p, RuleOptions{FilterShare: b.FilterShare, LeastFilterS: b.LeastFilterS})
		if err != nil {
			continue
		}
		if err := d.predict(p); err != nil {
			continue
		}
		out = append(out, d)
	}
	d, err := OptimumWithin(kind, p, b)
	if err != nil {
		return out, err
	}
	return append(out, d), nil
}
