package physics

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2"
)

// ReadError says where a machine file cannot be read.
type ReadError struct {
	Row, Column int // from 1; 0 where unknown
	Err         error
}

func (e *ReadError) Error() string {
	if e.Row == 0 {
		return "machine file: " + e.Err.Error()
	}
	return fmt.Sprintf("machine file, line %d, column %d: %v", e.Row, e.Column, e.Err)
}

func (e *ReadError) Unwrap() error { return e.Err }

// ErrUnknownKey marks a key that no parameter has.
var ErrUnknownKey = errors.New("no parameter has this name; correct or remove it")

// Read reads a machine file (TOML, unknown keys refused) and validates it. The
// error is a *ReadError or a *ParameterError.
func Read(text []byte) (Machine, error) {
	var m Machine
	decoder := toml.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&m); err != nil {
		return Machine{}, readError(err)
	}
	if err := m.Validate(); err != nil {
		return Machine{}, err
	}
	return m, nil
}

func readError(err error) error {
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok && len(strict.Errors) > 0 {
		first := strict.Errors[0]
		row, column := first.Position()
		return &ReadError{Row: row, Column: column, Err: fmt.Errorf("%q: %w", first.Key(), ErrUnknownKey)}
	}
	if bad, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, column := bad.Position()
		return &ReadError{Row: row, Column: column, Err: err}
	}
	return &ReadError{Err: err}
}
