package rig

import (
	"fmt"
	"strings"
)

// Error is one mistake in a description, or one disagreement between it and the controller.
type Error struct {
	File   string `json:"file,omitempty"`
	Line   int    `json:"line,omitempty"`   // from 1; 0 where no text was read, as in Check
	Column int    `json:"column,omitempty"` // in characters, from 1
	Key    string `json:"key"`              // dotted, such as axis.pulse.least_us; empty for the file as a whole
	What   string `json:"what"`             // what is wrong
	Remedy string `json:"remedy"`           // what to do
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		fmt.Fprintf(&b, "%s:%d:%d: ", e.File, e.Line, e.Column)
	}
	if e.Key != "" {
		b.WriteString(e.Key + ": ")
	}
	b.WriteString(e.What + "; " + e.Remedy)
	return b.String()
}

// Errors is everything found wrong, in the order of the text.
type Errors struct {
	All []Error `json:"all"`
}

func (e *Errors) Error() string {
	lines := make([]string, len(e.All))
	for i := range e.All {
		lines[i] = e.All[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives each mistake as an *Error.
func (e *Errors) Unwrap() []error {
	each := make([]error, len(e.All))
	for i := range e.All {
		each[i] = &e.All[i]
	}
	return each
}

// orNil keeps an empty list from becoming an error that is not nil.
func orNil(found []Error) error {
	if len(found) == 0 {
		return nil
	}
	return &Errors{All: found}
}
