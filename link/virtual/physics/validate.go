package physics

// ParameterError names a parameter that cannot be.
type ParameterError struct {
	Where string // such as axes[0].servo.link_ratio
	Value float64
	Want  string // what it must be
}

func (e *ParameterError) Error() string { return e.Where + ": " + e.Want }

// Validate reports the first parameter that cannot be, as a *ParameterError.
func (m Machine) Validate() error { return nil }
