package rig

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"trunnion/tuning/bench"
)

// sensorJSON is the form of a Sensor in records: part of the format, never change. The kind is a word.
type sensorJSON struct {
	Counter       int     `json:"counter"`
	Kind          string  `json:"kind"`
	CountsPerTurn int     `json:"counts_per_turn"`
	CountsPerUnit float64 `json:"counts_per_unit,omitempty"`
}

// MarshalJSON writes the sensor for records.
func (s Sensor) MarshalJSON() ([]byte, error) {
	return json.Marshal(sensorJSON{s.Counter, s.Kind.String(), s.CountsPerTurn, s.CountsPerUnit})
}

// UnmarshalJSON reads a sensor from records.
func (s *Sensor) UnmarshalJSON(text []byte) error {
	var read sensorJSON
	if err := json.Unmarshal(text, &read); err != nil {
		return err
	}
	kind, known := kindNamed(read.Kind)
	if !known {
		return fmt.Errorf("a sensor of kind %q: this record was made by a newer program", read.Kind)
	}
	*s = Sensor{read.Counter, kind, read.CountsPerTurn, read.CountsPerUnit}
	return nil
}

func kindNamed(name string) (bench.SensorKind, bool) {
	for kind := bench.Incremental; kind <= bench.Mark; kind++ {
		if kind.String() == name {
			return kind, true
		}
	}
	return 0, false
}

// Hash is the SHA-256 of what the description says, in hexadecimal, so that a record can name the description it was
// made with. Comments, order of keys and defaults written out make no difference to it.
func (r Rig) Hash() string {
	text, err := json.Marshal(r)
	if err != nil { // only for NaN and infinities, which Parse lets through nowhere
		panic("rig: a description that is not from Parse: " + err.Error())
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
