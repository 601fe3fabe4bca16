package pid

import (
	"fmt"
	"math"
)

// ParameterError says that a number given to this package makes no sense.
type ParameterError struct {
	Name   string // which parameter
	Value  float64
	Reason string // what it must be
}

func (e *ParameterError) Error() string {
	return fmt.Sprintf("pid: %s is %g: %s", e.Name, e.Value, e.Reason)
}

// FormError says that gains have no equal in another form.
type FormError struct {
	From, To string
	Reason   string
}

func (e *FormError) Error() string {
	return fmt.Sprintf("pid: no %s form equals these %s gains: %s", e.To, e.From, e.Reason)
}

// ModelError says that a loop or process cannot be treated.
type ModelError struct {
	Reason string
}

func (e *ModelError) Error() string { return "pid: " + e.Reason }

// TableError says what is wrong with an inverse table, and at which point, from 0.
type TableError struct {
	Point  int
	Reason string
}

func (e *TableError) Error() string {
	return fmt.Sprintf("pid: inverse table, point %d: %s", e.Point, e.Reason)
}

// number is a named value to be checked.
type number struct {
	name  string
	value float64
}

// requirePositive reports the first value that is not positive and finite.
func requirePositive(numbers ...number) error {
	for _, n := range numbers {
		if !(n.value > 0) || math.IsInf(n.value, 1) {
			return &ParameterError{n.name, n.value, "it must be positive and finite"}
		}
	}
	return nil
}

// requireNotNegative reports the first value that is negative or not finite.
func requireNotNegative(numbers ...number) error {
	for _, n := range numbers {
		if !(n.value >= 0) || math.IsInf(n.value, 1) {
			return &ParameterError{n.name, n.value, "it must be nought or positive, and finite"}
		}
	}
	return nil
}
